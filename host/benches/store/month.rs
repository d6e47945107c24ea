//! A made-up month of a monitor's frames.

use stillpoint::checksum::FastCrc;
use stillpoint_core::CurvePoint;
use stillpoint_core::wire::curve::Curve;
use stillpoint_core::wire::frame::{Payload, encode};
use stillpoint_core::wire::header::{Direction, Numbers};
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::record::{Move, Outcome, flag};
use stillpoint_core::wire::status::Hello;
use stillpoint_core::wire::{LONGEST_FRAME, LONGEST_PIECE};

const TICKS_PER_SECOND: u32 = 10_000_000;
pub(crate) const AXES: u64 = 3;
const MONTH_S: f64 = 30.0 * 86_400.0;
/// 2026-06-01T00:00:00Z. Unit: µs since 1970
pub(crate) const BEGIN: i64 = 1_780_272_000_000_000;
/// A month of three axes, four kinds each; settling lognormal about 50 ms, one in fifty not settled.
pub(crate) struct Month {
    numbers: Numbers,
    chance: u64,
    pub(crate) moves: u64,
    of: u64,
}

impl Month {
    pub(crate) fn new(of: u64) -> Month {
        Month {
            numbers: Numbers::new(Direction::FromDevice, 1),
            chance: 88_172_645_463_325_252,
            moves: 0,
            of,
        }
    }

    fn uniform(&mut self) -> f64 {
        self.chance ^= self.chance << 13;
        self.chance ^= self.chance >> 7;
        self.chance ^= self.chance << 17;
        (self.chance >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn push(&mut self, message: &Message, out: &mut Vec<u8>) {
        let header = self.numbers.next_header(message.priority());
        let mut buffer = [0; LONGEST_FRAME];
        out.extend_from_slice(encode::<FastCrc>(&header, message, &mut buffer).expect("it fits"));
    }

    pub(crate) fn hello(&mut self, out: &mut Vec<u8>) {
        let hello = Hello {
            device: *b"bench\0\0\0\0\0\0\0",
            board: "bench",
            firmware: "1",
            axes: AXES as u8,
            ticks_per_second: TICKS_PER_SECOND,
            clock: Some(BEGIN),
            ..Hello::default()
        };
        self.push(&Message::Hello(hello), out);
    }

    /// One move and its curve.
    pub(crate) fn step(&mut self, out: &mut Vec<u8>) {
        let normal: f64 = (0..12).map(|_| self.uniform()).sum::<f64>() - 6.0;
        let settling = (0.05 * (0.3 * normal).exp() * f64::from(TICKS_PER_SECOND)) as u32;
        let wire = self.make_move(settling);
        self.push(&Message::Move(wire), out);
        let mut points = (0..14_u32)
            .map(|k| CurvePoint {
                window: 16_384 >> k,
                settling: (k < 12).then_some(settling / 16 * (k + 4)),
            })
            .peekable();
        let mut buffer = [0; LONGEST_PIECE];
        let curve = Curve::pack((wire.axis, wire.number, 0), &mut points, &mut buffer).expect("points");
        self.push(&Message::Curve(curve), out);
        self.moves += 1;
    }

    fn make_move(&mut self, settling: u32) -> Move {
        let settled = self.uniform() > 0.02;
        Move {
            axis: (self.moves % AXES) as u8,
            number: (self.moves / AXES + 1) as u32,
            flags: if settled { flag::SETTLING | flag::FIRST_ENTRY | flag::REST_ERROR } else { 0 },
            outcome: if settled { Outcome::Settled } else { Outcome::Unsettled },
            start: (self.moves as f64 / self.of as f64 * MONTH_S * f64::from(TICKS_PER_SECOND)) as u64,
            duration: 2_000_000,
            held: 3_000_000,
            travel: [10_000, -10_000, 90_000, -90_000][(self.moves / AXES % 4) as usize],
            settling: if settled { settling } else { 0 },
            settling_u: 800,
            window_entries: 2,
            overshoot: 31,
            peak_following_error: 900,
            error_at_command_end: -417,
            peak_speed_distance: 800,
            peak_speed_time: 20_000,
            kind: (self.moves / AXES % 4 + 1) as u32,
            ..Move::default()
        }
    }
}
