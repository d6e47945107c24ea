//! In: recordings whose command is sampled more slowly than feedback, or on another clock. Out: how often the 95 % interval
//! holds the true settling time, which is that of the same axis without any sampling.

use std::fmt::Write as _;

use super::Folder;

/// Unit: s
const STEP: f64 = 5e-5;
/// Lag of the axis. Unit: s
const LAG: f64 = 0.02;
/// From one move to the next. Unit: s
const MOVE: f64 = 0.4;
/// Command period. Unit: s
const PERIOD: f64 = 0.004;
/// The same on a clock of its own, whose phase against the samples goes over all values. Unit: s
const OWN: f64 = 0.00413;
/// Sample period of feedback. Unit: s
const SAMPLE: f64 = 0.001;
const MOVES: usize = 120;
/// Unit: mm
const WINDOW: f64 = 0.05;

/// Moves of 10 mm out and back, whose starts lie evenly over the command's and the sample period.
struct Axis {
    /// How long a move accelerates, goes at a constant speed, and slows down. Unit: s
    parts: [f64; 3],
    feedback: Vec<f64>,
}

impl Axis {
    fn new(parts: [f64; 3]) -> Axis {
        let mut axis = Axis { parts, feedback: vec![] };
        let (mut position, steps) = (0.0, ((MOVES + 2) as f64 * MOVE / STEP) as usize);
        for step in 0..steps {
            axis.feedback.push(position);
            let command = axis.command((step as f64 + 0.5) * STEP);
            position = command + (position - command) * (-STEP / LAG).exp();
        }
        axis
    }

    fn start(number: usize) -> f64 {
        let even = |factor: f64| (number as f64 * factor).fract();
        0.3 + number as f64 * MOVE + PERIOD * even(0.618_034) + SAMPLE * even(0.754_878)
    }

    fn end(&self, number: usize) -> f64 {
        Axis::start(number) + self.parts.iter().sum::<f64>()
    }

    /// Unit: mm
    fn command(&self, second: f64) -> f64 {
        let number = ((second - 0.3) / MOVE).floor().max(0.0) as usize;
        let (number, since) = match second - Axis::start(number) {
            since if since >= 0.0 || number == 0 => (number, since),
            _ => (number - 1, second - Axis::start(number - 1)),
        };
        let [up, even, down] = self.parts;
        let speed = 1.0 / (up / 2.0 + even + down / 2.0);
        let share = match since {
            since if since < 0.0 => 0.0,
            since if since < up => speed * since * since / (2.0 * up),
            since if since < up + even => speed * (since - up / 2.0),
            since if since < up + even + down => {
                1.0 - speed * (up + even + down - since).powi(2) / (2.0 * down)
            }
            _ => 1.0,
        };
        10.0 * if number.is_multiple_of(2) { share } else { 1.0 - share }
    }

    /// Unit: mm
    fn feedback(&self, second: f64) -> f64 {
        let at = second / STEP;
        let [before, after] =
            [0, 1].map(|next| self.feedback[(at as usize + next).min(self.feedback.len() - 1)]);
        before + (after - before) * at.fract()
    }

    /// The lag decays from the command end on. Unit: s
    fn truth(&self, number: usize) -> f64 {
        let end = self.end(number);
        let error = (self.feedback(end) - self.command(end + 1e-9)).abs();
        LAG * (error / WINDOW).ln()
    }
}

/// Numbers of moves whose interval holds the truth, of all; and the mean half-width. Unit: 1, s
fn coverage(folder: &Folder, axis: &Axis, options: &str) -> (usize, f64) {
    let ran = folder.run(&format!("axis.csv --window {WINDOW} --format jsonl {options}"));
    let lines = ran.lines();
    assert_eq!(lines.len(), MOVES, "{}", ran.stderr);
    let number = |line: &serde_json::Value, name: &str| line[name].as_f64().expect("a figure");
    let holds = |(at, line): &(usize, &serde_json::Value)| {
        (number(line, "settling_s") - axis.truth(*at)).abs() <= number(line, "settling_95_s")
    };
    let mean = lines.iter().map(|line| number(line, "settling_95_s")).sum::<f64>() / MOVES as f64;
    (lines.iter().enumerate().filter(holds).count(), mean)
}

const JUMP: [f64; 3] = [0.0; 3];
const RAMP: [f64; 3] = [0.0, 0.05, 0.0];
const TRAPEZOID: [f64; 3] = [0.02, 0.03, 0.03];

#[track_caller]
fn check(name: &str, axis: &Axis, text: String, options: &str) {
    let folder = Folder::new("slow");
    folder.write("axis.csv", text);
    let (held, mean) = coverage(&folder, axis, options);
    println!("{name}: {held} of {MOVES} moves held, half-width {:.2} ms", 1e3 * mean);
    assert!((0.93..=0.98).contains(&(held as f64 / MOVES as f64)), "{name}: {held} of {MOVES}");
    // A uniform value over the command period, and little more.
    assert!(mean < 0.475 * (PERIOD + SAMPLE) * 1.1, "{name}: {mean}");
}

fn rows(period: f64) -> impl Iterator<Item = (usize, f64)> {
    let count = ((MOVES as f64 * MOVE + 0.29) / period) as usize;
    (0..count).map(move |row| (row, row as f64 * period))
}

#[test]
fn a_held_command_ended_within_its_period() {
    for (name, parts) in [("held ramp", RAMP), ("held trapezoid", TRAPEZOID)] {
        let axis = Axis::new(parts);
        let mut text = "t_s,command [mm],feedback [mm]\n".to_owned();
        for (row, second) in rows(SAMPLE) {
            let command = axis.command((row / 4 * 4) as f64 * SAMPLE);
            writeln!(text, "{second:.4},{command:.5},{:.5}", axis.feedback(second)).unwrap();
        }
        check(name, &axis, text, "");
    }
}

#[test]
fn an_interpolated_command_ended_within_its_period_and_a_sample_period() {
    for (name, parts) in [("two clocks, jump", JUMP), ("ramp", RAMP), ("trapezoid", TRAPEZOID)] {
        let axis = Axis::new(parts);
        let mut text = "t_cmd,cmd,t_fb,fb\n".to_owned();
        for (row, second) in rows(SAMPLE) {
            let (at, second) = (row as f64 * OWN, second + 0.0004);
            let command = if at < MOVES as f64 * MOVE + 0.295 {
                format!("{at:.4},{:.5}", axis.command(at))
            } else {
                ",".to_owned()
            };
            writeln!(text, "{command},{second:.4},{:.5}", axis.feedback(second)).unwrap();
        }
        check(name, &axis, text, "--time t_cmd:s --feedback-time t_fb");
    }
}

#[test]
fn a_command_in_an_event_log_ended_within_its_period_and_a_sample_period() {
    let axis = Axis::new(TRAPEZOID);
    let mut text = "time,tag,value\n".to_owned();
    let (mut written, mut last) = (0, String::new());
    for (row, second) in rows(SAMPLE) {
        writeln!(text, "{second:.5},act,{:.6}", axis.feedback(second) + 1e-6 * (row % 2) as f64).unwrap();
        let at = 0.00031 + written as f64 * OWN;
        if at < second + SAMPLE {
            written += 1;
            let command = format!("{:.5}", axis.command(at));
            if command != last {
                writeln!(text, "{at:.5},set,{command}").unwrap();
                last = command;
            }
        }
    }
    check("event log", &axis, text, "--command set --feedback act");
}

#[test]
fn feedback_that_is_held_over_rows_is_sampled_slowly() {
    let axis = Axis::new(TRAPEZOID);
    let mut text = "t_s,command [mm],feedback [mm]\n".to_owned();
    for (row, second) in rows(SAMPLE) {
        let feedback = axis.feedback((row / 4 * 4) as f64 * SAMPLE);
        writeln!(text, "{second:.4},{:.5},{feedback:.5}", axis.command(second)).unwrap();
    }
    let folder = Folder::new("held");
    folder.write("axis.csv", text);
    let (held, mean) = coverage(&folder, &axis, "");
    println!("held feedback: {held} of {MOVES} moves held, half-width {:.2} ms", 1e3 * mean);
    // Bounded errors prevail: the sample period is 4 ms.
    assert!(held as f64 >= 0.93 * MOVES as f64 && mean < 0.0022, "{held} {mean}");
}
