//! In: a command and a hostile peer. Out: how the command ended, and the most memory that it used.

mod memory;
pub(crate) mod peers;

use std::io::Read;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

pub(crate) use memory::MOST_MEMORY;
use memory::most_resident;

/// A program that has not ended after this time hangs. Many times the deadlines given to it, for a busy computer.
pub(crate) const PATIENCE: Duration = Duration::from_secs(60);

/// How a program ended.
#[derive(Debug)]
pub(crate) struct End {
    pub(crate) status: Option<i32>,
    #[allow(dead_code, reason = "shown where a check fails")]
    pub(crate) out: String,
    pub(crate) err: String,
    /// Unit: kB
    pub(crate) memory: u64,
}

/// Runs the program; after `interrupt` it is interrupted as by Ctrl-C. Panics if it hangs.
#[track_caller]
pub(crate) fn run(name: &str, arguments: &[&str], interrupt: Option<Duration>) -> End {
    let mut command = Command::new(env!("CARGO_BIN_EXE_stillpoint"));
    command.args(arguments).stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut child = command.spawn().expect("it runs");
    let out = text(child.stdout.take().expect("a pipe"));
    let err = text(child.stderr.take().expect("a pipe"));
    let (begun, mut memory, mut interrupt) = (Instant::now(), 0, interrupt);
    let status = loop {
        memory = memory.max(most_resident(&child));
        if let Some(status) = child.try_wait().expect("a status") {
            break status.code();
        }
        if interrupt.take_if(|after| begun.elapsed() >= *after).is_some() {
            let id = child.id().to_string();
            Command::new("kill").args(["-INT", &id]).status().expect("it is interrupted");
        }
        if begun.elapsed() > PATIENCE {
            child.kill().ok();
            panic!("{name}: {arguments:?} hangs; it wrote {}", err.join().expect("text"));
        }
        std::thread::sleep(Duration::from_millis(20));
    };
    println!("{memory} kB, {:.1} s: {name}", begun.elapsed().as_secs_f64());
    End { status, out: out.join().expect("text"), err: err.join().expect("text"), memory }
}

/// Reads to the end, and holds the first MiB.
fn text(mut pipe: impl Read + Send + 'static) -> std::thread::JoinHandle<String> {
    std::thread::spawn(move || {
        let mut start = Vec::new();
        pipe.by_ref().take(1 << 20).read_to_end(&mut start).ok();
        std::io::copy(&mut pipe, &mut std::io::sink()).ok();
        String::from_utf8_lossy(&start).into_owned()
    })
}

/// Runs a check for each peer, all beside each other.
pub(crate) fn each(check: fn(&peers::Peer)) {
    let threads = peers::PEERS.iter().map(|peer| std::thread::spawn(move || check(peer)));
    let failed = threads.collect::<Vec<_>>().into_iter().filter_map(|thread| thread.join().err()).count();
    assert_eq!(failed, 0, "of {} peers; their messages are above", peers::PEERS.len());
}
