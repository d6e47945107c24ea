//! In: recordings made here, given to the built `stillpoint measure`. Out: whether it does what its manual promises.
//!
//! `arguments`: which are accepted; `output`: the three forms and who reads them; `pictures`; `scales`;
//! `bad_input`: what people really export; `damage`: seeded mutations, in this process and through the binary;
//! `ways`: one recording written in many ways; `forms`: those of further exporters; `remedies`: whether what a message
//! says to type works; `jobs`: the product that the machine worked on.

use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::atomic::{AtomicU32, Ordering};

#[path = "measure/arguments.rs"]
mod arguments;
#[path = "measure/bad_input.rs"]
mod bad_input;
#[path = "measure/damage.rs"]
mod damage;
#[path = "measure/forms.rs"]
mod forms;
#[path = "measure/jobs.rs"]
mod jobs;
#[path = "measure/output.rs"]
mod output;
#[path = "measure/pictures.rs"]
mod pictures;
#[path = "measure/remedies.rs"]
mod remedies;
#[path = "measure/scales.rs"]
mod scales;
#[path = "measure/signals.rs"]
mod signals;
#[path = "measure/slow_commands.rs"]
mod slow_commands;
#[path = "measure/ways.rs"]
mod ways;

/// A folder for one test; goes when the test is over.
struct Folder(PathBuf);

impl Folder {
    fn new(test: &str) -> Folder {
        static COUNT: AtomicU32 = AtomicU32::new(0);
        let (process, count) = (std::process::id(), COUNT.fetch_add(1, Ordering::Relaxed));
        let path = std::env::temp_dir().join(format!("stillpoint-measure-{process}-{count}-{test}"));
        std::fs::create_dir_all(&path).expect("a folder for the test");
        Folder(path)
    }

    /// With one good recording in it, `axis.csv`.
    fn with_axis(test: &str) -> Folder {
        let folder = Folder::new(test);
        folder.write("axis.csv", recording(4).join("\n") + "\n");
        folder
    }

    fn write(&self, name: &str, bytes: impl AsRef<[u8]>) {
        std::fs::write(self.path(name), bytes).expect("a file for the test");
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.join(name)
    }

    /// The command as people type it in this folder.
    fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_stillpoint"));
        command.current_dir(&self.0).arg("measure").args(arguments).env_remove("COLUMNS");
        command
    }

    /// Runs it; words are parted by blanks.
    fn run(&self, arguments: &str) -> Ran {
        let words: Vec<&str> = arguments.split_whitespace().collect();
        Ran::of(self.command(&words).stdin(Stdio::null()))
    }

    /// Runs it with `bytes` on standard input.
    fn pipe(&self, arguments: &str, bytes: &[u8]) -> Ran {
        let words: Vec<&str> = arguments.split_whitespace().collect();
        let mut command = self.command(&words);
        command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
        let mut child = command.spawn().expect("the binary runs");
        let mut stdin = child.stdin.take().expect("a pipe");
        let bytes = bytes.to_vec();
        // It may stop reading at any time.
        let writer = std::thread::spawn(move || stdin.write_all(&bytes).ok());
        let output = child.wait_with_output().expect("the binary ends");
        writer.join().expect("the pipe ends");
        Ran::from(output)
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        std::fs::remove_dir_all(&self.0).ok();
    }
}

/// What a run gave.
#[derive(Debug)]
struct Ran {
    status: i32,
    out: String,
    stderr: String,
}

impl Ran {
    fn of(command: &mut Command) -> Ran {
        Ran::from(command.output().expect("the binary runs"))
    }

    fn from(output: std::process::Output) -> Ran {
        let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("UTF-8 comes out");
        let status = output.status.code().expect("an exit status, not a signal");
        Ran { status, out: text(output.stdout), stderr: text(output.stderr) }
    }

    /// The JSON lines.
    fn lines(&self) -> Vec<serde_json::Value> {
        let parse = |line| serde_json::from_str(line).unwrap_or_else(|error| panic!("{error}: {line}"));
        self.out.lines().map(parse).collect()
    }

    /// The outcome of each JSON line, parted by blanks.
    fn outcomes(&self) -> String {
        let lines = self.lines();
        let words: Vec<&str> = lines.iter().map(|line| line["outcome"].as_str().expect("a word")).collect();
        words.join(" ")
    }

    #[track_caller]
    fn assert_stderr_has(&self, parts: &[&str]) {
        for part in parts {
            assert!(self.stderr.contains(part), "{part:?} is not in {:?}", self.stderr);
        }
        assert!(!parts.is_empty() || self.stderr.is_empty(), "unexpected: {:?}", self.stderr);
    }
}

/// Sample period. Unit: s
const PERIOD: f64 = 0.001;

/// Rows before the first move, of a move, and of the rest after it.
const ROWS: (usize, usize, usize) = (100, 200, 300);

/// Commanded distance, lag at the end of the command, and the time constant with which it goes.
/// Unit: mm, mm, s
const SHAPE: (f64, f64, f64) = (10.0, 0.5, 0.02);

/// Time from the last row of the move until the tail reaches a window. Unit: s
fn tail(window: f64) -> f64 {
    SHAPE.2 * (SHAPE.1 / window).ln()
}

/// Command and feedback: `moves` moves of 10 mm out and back, each with an exponential tail. Unit: mm
fn samples(moves: usize) -> Vec<(f64, f64)> {
    let (lead, length, rest) = ROWS;
    let (travel, lag, constant) = SHAPE;
    let mut samples = vec![(0.0, 0.0); lead];
    for number in 0..moves {
        let (from, sign) = if number % 2 == 0 { (0.0, 1.0) } else { (travel, -1.0) };
        for row in 1..=length {
            let share = row as f64 / length as f64;
            // Smooth: no speed and no acceleration at either end.
            let share = share.powi(3) * (10.0 - 15.0 * share + 6.0 * share * share);
            let command = from + sign * travel * share;
            samples.push((command, command - sign * lag * share));
        }
        let target = from + sign * travel;
        let tail = |row: usize| lag * (-(row as f64) * PERIOD / constant).exp();
        samples.extend((1..=rest).map(|row| (target, target - sign * tail(row))));
    }
    samples
}

/// The lines of a recording of `moves` moves, its header first; row `n` is line `n + 2` of the file.
fn recording(moves: usize) -> Vec<String> {
    let row = |(row, (command, feedback)): (usize, (f64, f64))| {
        format!("{:.3},{command:.4},{feedback:.4}", row as f64 * PERIOD)
    };
    let header = "t_s,command [mm],feedback [mm]".to_owned();
    std::iter::once(header).chain(samples(moves).into_iter().enumerate().map(row)).collect()
}

/// Whether the file is there and no smaller than that.
fn is_written(path: &Path, least: u64) -> bool {
    path.metadata().is_ok_and(|about| about.len() >= least)
}
