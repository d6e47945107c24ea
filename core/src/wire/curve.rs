//! In: the points of a settling curve. Out: payloads of bounded size that carry them, and the points again.
//!
//! The windows of a curve narrow by a fixed law, a quarter octave each; a point that follows it costs
//! only the bytes of its later settling. One that does not begins a new payload, so any curve survives.

use core::iter::Peekable;

use serde::{Deserialize, Serialize};

use super::{LONGEST_PIECE, varint};
use crate::settling::curve::CurvePoint;

/// A stretch of the settling curve of one move, from wide windows to narrow ones.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Curve<'a> {
    /// Axis, from 0.
    pub axis: u8,
    /// Number of the move on its axis.
    pub number: u32,
    /// Index of the first point here within the whole curve.
    pub first: u16,
    /// The curve ends here.
    pub last: bool,
    /// Window of the first point here. Unit: counts
    pub window: u32,
    /// One number per point: 0 where it did not settle, else 1 + the settling time beyond that of
    /// the point before, wrapping at 2^32, the first beyond 0. Unit: ticks
    pub points: &'a [u8],
}

/// The next narrower window: a quarter of an octave down, or one count. Unit: counts
fn narrower(window: u32) -> Option<u32> {
    let octave = window.checked_ilog2()?;
    Some(window - (1 << octave.saturating_sub(2)))
}

impl<'a> Curve<'a> {
    /// Packs as many points as one payload takes; `None` when there are none left.
    pub fn take(
        (axis, number, first): (u8, u32, u16),
        points: &mut Peekable<impl Iterator<Item = CurvePoint>>,
        buffer: &'a mut [u8; LONGEST_PIECE],
    ) -> Option<Curve<'a>> {
        let window = points.peek()?.window;
        let (mut used, mut before, mut expected) = (0, 0_u32, Some(window));
        // (`next_if` would be a panic in the compiler's eyes.)
        while let Some(point) = points.peek().copied().filter(|point| Some(point.window) == expected) {
            points.next();
            let later = point.settling.map_or(0, |settling| 1 + u64::from(settling.wrapping_sub(before)));
            varint::push(buffer, &mut used, later);
            before = point.settling.unwrap_or(before);
            expected = narrower(point.window).filter(|_| used + varint::LONGEST <= LONGEST_PIECE);
        }
        let last = points.peek().is_none();
        Some(Curve { axis, number, first, last, window, points: buffer.get(..used)? })
    }

    /// The points again; ends early where the bytes are none of ours.
    pub fn points(&self) -> impl Iterator<Item = CurvePoint> + 'a {
        let (mut bytes, mut before, mut window) = (self.points, 0_u32, Some(self.window));
        core::iter::from_fn(move || {
            let here = window?;
            let later = varint::pop(&mut bytes)?;
            window = narrower(here);
            let settling = later.checked_sub(1).map(|beyond| before.wrapping_add(beyond as u32));
            before = settling.unwrap_or(before);
            Some(CurvePoint { window: here, settling })
        })
    }
}
