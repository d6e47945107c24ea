//! In: one invented axis in memory. Out: samples per second of the core, of a bare detector beside it,
//! and of python-control's `step_info` where a Python that has it is named.
//!
//! Core and bare detector alternate in one run, and of every twenty moves their best turn counts, so the
//! ratio holds whatever else the machine does.
//! `STILLPOINT_PYTHON=…/bin/python cargo bench -p stillpoint-tests --bench engine`

use std::hint::black_box;
use std::io::Write as _;
use std::process::{Command, Stdio};
use std::time::Instant;

use stillpoint_core::{Axis, Event, Parameters, Reading, Settings};

const PERIOD: u32 = 250;
const WINDOW: u32 = 2796;
const WINDOW_TIME: u32 = 5000;
const MOVES: usize = 2000;
const SAMPLES_PER_MOVE: usize = 1000;
/// Moves timed together.
const TOGETHER: usize = 20;
const TURNS: usize = 15;

/// 60 mm there and back, smooth, 200 samples long; a ringing stop with two counts of noise.
fn axis() -> Vec<Reading> {
    let mut noise = 1_u32;
    let mut readings = vec![];
    for number in 0..MOVES {
        for k in 0..SAMPLES_PER_MOVE {
            let part = (k as f64 / 200.0).min(1.0);
            let part_travelled = part * part * part * (10.0 - 15.0 * part + 6.0 * part * part);
            let from = if number % 2 == 0 { 0.0 } else { 1.0 };
            let command = 16_777_216.0 * (from + (1.0 - 2.0 * from) * part_travelled);
            let since = (k as f64 - 200.0).max(0.0);
            let ringing = 60_000.0 * (-since / 60.0).exp() * (since / 12.0).cos() * part;
            noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let feedback = command + ringing + f64::from(noise >> 30);
            let tick = (readings.len() as u32).wrapping_mul(PERIOD);
            readings.push(Reading { tick, command: command as i32, feedback: feedback as i32 });
        }
    }
    readings
}

/// The simplest detector: window, last entry and dwell, nothing else.
fn bare(readings: &[Reading]) -> (u32, u64) {
    let (mut last, mut command_end, mut entry, mut inside) = (readings[0].command, 0_u32, 0_u32, false);
    let (mut settled, mut moves, mut sum) = (true, 0_u32, 0_u64);
    for reading in readings {
        if reading.command != last {
            last = reading.command;
            command_end = reading.tick;
            inside = false;
            settled = false;
        }
        let error = reading.command.wrapping_sub(reading.feedback).unsigned_abs();
        if error > WINDOW {
            inside = false;
            settled = false;
        } else if !inside {
            inside = true;
            entry = reading.tick;
        } else if !settled && reading.tick.wrapping_sub(entry) >= WINDOW_TIME {
            settled = true;
            moves += 1;
            sum += u64::from(entry.wrapping_sub(command_end));
        }
    }
    (moves, sum)
}

fn core(settings: &Settings, readings: &[Reading]) -> (u32, u64) {
    let mut axis = Axis::new(*settings);
    let (mut moves, mut sum) = (0, 0);
    let mut read = |axis: &mut Axis| {
        while let Some(event) = axis.event() {
            let Event::Move(record) = event else { continue };
            moves += 1;
            sum += u64::from(record.settling.unwrap_or(0));
            sum += axis.curve().map(|point| u64::from(point.settling.unwrap_or(0))).sum::<u64>() & 1;
        }
    };
    let mut remaining = readings;
    while !remaining.is_empty() {
        remaining = &remaining[axis.run(remaining)..];
        read(&mut axis);
    }
    axis.finish();
    read(&mut axis);
    (moves, sum)
}

/// Samples per second of `step_info`, called once per move on the same feedback.
fn step_info(readings: &[Reading]) -> Option<f64> {
    let script = "
import sys, time, numpy, control
data = numpy.loadtxt(sys.stdin)
moves = data.reshape(-1, 1000, 2)
start = time.perf_counter()
for move in moves:
    control.step_info(move[:, 1] - move[0, 1], move[:, 0] - move[0, 0], SettlingTimeThreshold=2796 / 16777216)
print(control.__version__, data.shape[0] / (time.perf_counter() - start))
";
    let python = std::env::var_os("STILLPOINT_PYTHON")?;
    let pipes =
        Command::new(python).args(["-c", script]).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn();
    let mut child = pipes.ok()?;
    let mut text = Vec::new();
    for reading in &readings[..100 * SAMPLES_PER_MOVE] {
        writeln!(text, "{} {}", f64::from(reading.tick) * 1e-6, reading.feedback).ok()?;
    }
    child.stdin.take()?.write_all(&text).ok()?;
    let output = child.wait_with_output().ok()?;
    let text = String::from_utf8(output.stdout).ok()?;
    let (version, rate) = text.trim().split_once(' ')?;
    println!("python-control {version}");
    rate.parse().ok()
}

/// One turn through all readings: keeps the shortest times, returns how many moves were found.
fn turn(readings: &[Reading], best: &mut [f64], work: &dyn Fn(&[Reading]) -> (u32, u64)) -> u32 {
    let mut moves = 0;
    for (some, best) in readings.chunks(TOGETHER * SAMPLES_PER_MOVE).zip(best) {
        let start = Instant::now();
        moves += black_box(work(black_box(some))).0;
        *best = best.min(start.elapsed().as_secs_f64());
    }
    moves
}

fn main() {
    let readings = axis();
    let parameters = Parameters { window: WINDOW, window_time: WINDOW_TIME, ..Parameters::at(1_000_000) };
    let settings = Settings::new(parameters).expect("valid settings");
    let (mut best_core, mut best_bare) = (vec![f64::MAX; MOVES / TOGETHER], vec![f64::MAX; MOVES / TOGETHER]);
    for _ in 0..TURNS {
        let found = turn(&readings, &mut best_core, &|some| core(&settings, some));
        let bare_found = turn(&readings, &mut best_bare, &bare);
        assert_eq!((found, bare_found >= found), (MOVES as u32, true), "moves found");
    }
    let rate = |best: &[f64]| readings.len() as f64 / best.iter().sum::<f64>();
    let (best_core, best_bare) = (rate(&best_core), rate(&best_bare));
    println!("{} samples, {MOVES} moves; best of {TURNS} turns", readings.len());
    println!("core          {:8.1} million samples/s", best_core / 1e6);
    println!(
        "bare detector {:8.1} million samples/s; core / bare = {:.2}",
        best_bare / 1e6,
        best_core / best_bare
    );
    match step_info(&readings) {
        Some(rate) => println!(
            "step_info     {:8.1} million samples/s; core / step_info = {:.0}",
            rate / 1e6,
            best_core / rate
        ),
        None => println!("step_info     NOT RUN: name a Python with control 0.10.2 in STILLPOINT_PYTHON"),
    }
}
