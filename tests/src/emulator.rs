//! In: the image of a program and bytes for its first UART. Out: the bytes of its second UART, which also receives commands.

use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};

use crate::skip::skipped;

/// The image of a program, built by `tests/run` with a profile of cargo; without it a check is skipped.
pub fn built(profile: &str, name: &str) -> Option<PathBuf> {
    let own = std::env::var_os("CARGO_TARGET_DIR").map(PathBuf::from);
    let targets = own.into_iter().chain([PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/../target"))]);
    let mut places = targets.flat_map(|target| [target.clone(), target.join("debian")]);
    let found = places.find_map(|place| {
        let image = place.join("thumbv7em-none-eabihf").join(profile).join(name);
        image.exists().then_some(image)
    });
    if found.is_none() {
        skipped(&format!("image {name} is not built; tests/run builds it with tests/thumb"));
    }
    found
}

/// The image of a program that the emulator can run; without one, or without the emulator, a check is skipped.
pub fn image(name: &str) -> Option<PathBuf> {
    built("release", name).filter(|_| is_installed())
}

fn is_installed() -> bool {
    let version = Command::new("qemu-system-arm").arg("--version").stdout(Stdio::null()).status();
    let is_installed = version.is_ok_and(|status| status.success());
    if !is_installed {
        skipped("qemu-system-arm is not installed");
    }
    is_installed
}

fn machine(image: &PathBuf) -> Command {
    let mut command = Command::new("qemu-system-arm");
    command.args(["-M", "mps2-an386", "-display", "none", "-monitor", "none"]);
    command.args(["-semihosting-config", "enable=on,target=native", "-kernel"]).arg(image);
    command
}

/// Runs an image and returns its output; one instruction takes one nanosecond.
pub fn printed(image: &PathBuf) -> String {
    let output =
        machine(image).args(["-serial", "none", "-icount", "shift=0"]).output().expect("the emulator runs");
    assert!(output.status.success(), "{output:?}");
    String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr)
}

/// A running image with its two UARTs.
pub struct Emulator {
    child: Child,
    /// The first UART: samples go in.
    pub samples: TcpStream,
    /// The second UART: frames come out, commands go in.
    pub link: TcpStream,
}

impl Emulator {
    /// Starts an image.
    pub fn start(image: &PathBuf) -> Emulator {
        let listeners = [0, 1].map(|_| TcpListener::bind("127.0.0.1:0").expect("a port"));
        let mut command = machine(image);
        for (k, listener) in listeners.iter().enumerate() {
            let port = listener.local_addr().expect("an address").port();
            command.args(["-chardev", &format!("socket,id=uart{k},host=127.0.0.1,port={port},nodelay=on")]);
            command.args(["-serial", &format!("chardev:uart{k}")]);
        }
        let child = command.spawn().expect("the emulator starts");
        let [samples, link] = listeners.map(|listener| listener.accept().expect("it connects").0);
        Emulator { child, samples, link }
    }

    /// Feeds all bytes, reads until the image ends, and returns the bytes of the second UART.
    pub fn run(mut self, bytes: Vec<u8>) -> Vec<u8> {
        let mut samples = self.samples;
        let feeding = std::thread::spawn(move || samples.write_all(&bytes));
        let mut frames = vec![];
        self.link.read_to_end(&mut frames).expect("bytes");
        feeding.join().expect("the thread ends").expect("samples are written");
        assert!(self.child.wait().expect("the image ends").success());
        frames
    }
}
