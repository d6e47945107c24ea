//! In: an image and bytes for its first UART. Out: the bytes of its second; commands go in there too.

use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};

/// A Cortex-M image of this repository, if it has been built; else a plain word that it is skipped.
pub fn image(name: &str) -> Option<PathBuf> {
    let root = PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/.."));
    let places =
        ["target", "target/debian"].map(|place| root.join(place).join("thumbv7em-none-eabihf/release"));
    let found = places.into_iter().map(|place| place.join(name)).find(|image| image.exists());
    if found.is_none() {
        eprintln!("SKIPPED: image {name} is not built; tests/run builds it with tests/thumb");
    }
    found.filter(|_| installed())
}

fn installed() -> bool {
    let asked = Command::new("qemu-system-arm").arg("--version").stdout(Stdio::null()).status();
    let there = asked.is_ok_and(|status| status.success());
    if !there {
        eprintln!("SKIPPED: qemu-system-arm is not installed");
    }
    there
}

fn machine(image: &PathBuf) -> Command {
    let mut command = Command::new("qemu-system-arm");
    command.args(["-M", "mps2-an386", "-display", "none", "-monitor", "none"]);
    command.args(["-semihosting-config", "enable=on,target=native", "-kernel"]).arg(image);
    command
}

/// What an image prints, one instruction taking one nanosecond.
pub fn printed(image: &PathBuf) -> String {
    let output = machine(image).args(["-serial", "none", "-icount", "shift=0"]).output().expect("it runs");
    assert!(output.status.success(), "{output:?}");
    String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr)
}

/// A running image with its two UARTs.
pub struct Emulator {
    child: Child,
    /// The first UART.
    pub samples: TcpStream,
    /// The second.
    pub line: TcpStream,
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
        let [samples, line] = listeners.map(|listener| listener.accept().expect("it connects").0);
        Emulator { child, samples, line }
    }

    /// Feeds all bytes, reads until the image ends, and returns what came.
    pub fn run(mut self, bytes: Vec<u8>) -> Vec<u8> {
        let mut samples = self.samples;
        let feeding = std::thread::spawn(move || samples.write_all(&bytes));
        let mut came = vec![];
        self.line.read_to_end(&mut came).expect("bytes");
        feeding.join().expect("fed").expect("fed");
        assert!(self.child.wait().expect("it ends").success());
        came
    }
}
