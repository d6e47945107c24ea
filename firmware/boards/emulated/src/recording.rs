//! In: the course of an invented axis. Out: its readings, one by one, to count instructions on.

use stillpoint_core::{Definition, Parameters, Reading};

/// Time between readings. Unit: ticks
pub const PERIOD: u32 = 250;

/// Equal moves back and forth; each stop rings, has a rest error and noise.
#[derive(Clone, Copy)]
pub struct Course {
    /// Letters and underscores.
    pub name: &'static str,
    /// Of the axis.
    pub parameters: Parameters,
    /// Commanded distance. Unit: feedback counts
    pub travel: i64,
    /// Samples of a move and its rest.
    pub samples: usize,
    /// Samples of a move at which the command changes.
    pub ramp: i64,
    /// Samples between two of these at which it stands.
    pub pause: i64,
    /// Error at the command end. Unit: counts
    pub swing: i64,
    /// Error around which the stop rings. Unit: counts
    pub offset: i64,
    /// Bits of noise.
    pub noise: u32,
    /// In this many samples one is missing, one jumps and one repeats the time stamp before; 0 for no faults.
    pub faults: usize,
}

impl Course {
    /// 60 mm of a smooth move, and a stop with two bits of noise.
    pub const USUAL: Course = Course {
        name: "usual",
        parameters: Parameters {
            ticks_per_second: 1_000_000,
            window: 2796,
            window_time: 5000,
            rest_time: 20_000,
            following_error_window: u32::MAX,
            following_error_time_out: 0,
            command_scale: (1, 1),
            encoder_step: 1,
            jump: 1 << 30,
            definition: Definition::LastEntry,
            synchronous: false,
            turn: 0,
            window_fraction: 0,
        },
        travel: 16_777_216,
        samples: 1000,
        ramp: 200,
        pause: 0,
        swing: 60_000,
        offset: 0,
        noise: 2,
        faults: 0,
    };

    /// Recordings in which the worst samples are searched, the usual one first.
    pub fn all() -> [Course; 9] {
        let usual = Course::USUAL;
        let parameters = usual.parameters;
        let fine = Parameters { window: 100_000, definition: Definition::Iso9283, ..parameters };
        let following =
            Parameters { following_error_window: 8000, following_error_time_out: 1000, ..parameters };
        [
            usual,
            // A step of the command; the axis reaches it at once.
            Course { name: "step", ramp: 1, swing: 0, ..usual },
            Course { name: "short", ramp: 6, swing: 4000, offset: 2700, noise: 8, ..usual },
            // Noise around the edge of the window: an entry at every second sample.
            Course { name: "edge", swing: 0, offset: 2640, noise: 9, ..usual },
            Course { name: "pulses", travel: 40_000, ramp: 40, pause: 3, ..usual },
            Course {
                name: "scaled",
                parameters: Parameters { command_scale: (-1000, 3), ..parameters },
                ..usual
            },
            // An encoder of 24 bits, coarse for its window, and a noisy rest.
            Course { name: "fine", parameters: fine, travel: 1 << 30, swing: 1 << 26, noise: 17, ..usual },
            Course { name: "following", parameters: following, ..usual },
            Course {
                name: "faults",
                parameters: Parameters { jump: 300_000, ..parameters },
                faults: 37,
                ..usual
            },
        ]
    }
}

/// Generator of a recording.
pub struct Recording {
    course: Course,
    number: usize,
    noise: u32,
    /// The ringing, and its quadrature component. Unit: counts
    ringing: (i64, i64),
    tick: u32,
}

impl Recording {
    /// Starts at the first reading.
    pub fn new(course: Course) -> Recording {
        Recording { course, number: 0, noise: 1, ringing: (0, 0), tick: 0 }
    }

    /// Whether readings are missing before the next one.
    pub fn is_gap(&self) -> bool {
        self.course.faults > 0 && self.number % self.course.faults == self.course.faults - 1
    }

    /// The command, in feedback counts.
    fn command(&self) -> i64 {
        let Course { travel, samples, ramp, pause, .. } = self.course;
        let (forth, k) = ((self.number / samples).is_multiple_of(2), (self.number % samples) as i64);
        let part = (k / (pause + 1)).min(ramp);
        let distance = travel * part * part * (3 * ramp - 2 * part) / (ramp * ramp * ramp);
        if forth { distance } else { travel - distance }
    }

    /// The error: noise until the command end, then ringing, too.
    fn error(&mut self) -> i64 {
        let Course { samples, ramp, pause, swing, offset, noise, .. } = self.course;
        let (x, y) = self.ringing;
        let k = (self.number % samples) as i64;
        let end = ramp * (pause + 1);
        let (x, y) = if k == end { (swing, 0) } else { (x, y) };
        // A turn of 1/12 radian and a decay of 1/60 per sample.
        self.ringing = ((x * 32_105 - y * 2_683) >> 15, (x * 2_683 + y * 32_105) >> 15);
        self.noise = self.noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let noise = i64::from(self.noise >> (31 - noise) >> 1);
        if k >= end { self.ringing.0 + offset + noise } else { noise }
    }
}

impl Iterator for Recording {
    type Item = Reading;

    fn next(&mut self) -> Option<Reading> {
        let Course { parameters, faults, .. } = self.course;
        let (command, error) = (self.command(), self.error());
        let (upper, lower) = parameters.command_scale;
        let fault = |place: usize| faults > 0 && self.number % faults == faults / place;
        self.tick += if fault(2) { 0 } else { PERIOD };
        let jump = if fault(3) { i64::from(parameters.jump) + 1 } else { 0 };
        self.number += 1;
        Some(Reading {
            tick: self.tick,
            command: (command * i64::from(lower) / i64::from(upper)) as i32,
            feedback: (command + error + jump) as i32,
        })
    }
}
