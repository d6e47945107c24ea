//! In: the points of a settling curve. Out: payloads of bounded size; and the points unpacked from them.
//!
//! The windows of a curve narrow by a fixed rule, a quarter octave each. A point that follows the rule is packed as the
//! increase of its settling time alone; a point that does not begins a new payload, so that any curve can be packed.

use core::iter::Peekable;

use serde::{Deserialize, Serialize};

use super::{LONGEST_PIECE, varint};
use crate::settling::curve::CurvePoint;

/// A part of the settling curve of one move, from wide windows to narrow ones.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Curve<'a> {
    /// Axis, from 0.
    pub axis: u8,
    /// Number of the move on its axis.
    pub number: u32,
    /// Index of the first point of this part within the whole curve.
    pub first: u16,
    /// Whether this is the last part of the curve.
    pub last: bool,
    /// Window of the first point of this part. Unit: counts
    pub window: u32,
    /// One number per point: 0 if it did not settle, else 1 + its settling time less that of the last point before it
    /// that settled (0 if there is none), wrapping at 2^32. Unit: ticks
    pub points: &'a [u8],
}

/// The next narrower window: a quarter of an octave down, or one count. Unit: counts
fn narrower(window: u32) -> Option<u32> {
    let octave = window.checked_ilog2()?;
    Some(window - (1 << octave.saturating_sub(2)))
}

impl<'a> Curve<'a> {
    /// Packs the next points, as many as fit one payload; `None` if no points remain.
    ///
    /// `first` is the index of the next point within the curve.
    pub fn pack(
        (axis, number, first): (u8, u32, u16),
        points: &mut Peekable<impl Iterator<Item = CurvePoint>>,
        buffer: &'a mut [u8; LONGEST_PIECE],
    ) -> Option<Curve<'a>> {
        let window = points.peek()?.window;
        let (mut used, mut before, mut expected) = (0, 0_u32, Some(window));
        // (`next_if` would leave a panic in the image.)
        while let Some(point) = points.peek().copied().filter(|point| Some(point.window) == expected) {
            points.next();
            let increase = point.settling.map_or(0, |settling| 1 + u64::from(settling.wrapping_sub(before)));
            varint::push(buffer, &mut used, increase);
            before = point.settling.unwrap_or(before);
            expected = narrower(point.window).filter(|_| used + varint::LONGEST <= LONGEST_PIECE);
        }
        let last = points.peek().is_none();
        Some(Curve { axis, number, first, last, window, points: buffer.get(..used)? })
    }

    /// Unpacks the points; ends early if the bytes are malformed.
    pub fn points(&self) -> impl Iterator<Item = CurvePoint> + 'a {
        let (mut bytes, mut before, mut window) = (self.points, 0_u32, Some(self.window));
        core::iter::from_fn(move || {
            let current = window?;
            let increase = varint::pop(&mut bytes)?;
            window = narrower(current);
            let settling = increase.checked_sub(1).map(|ticks| before.wrapping_add(ticks as u32));
            before = settling.unwrap_or(before);
            Some(CurvePoint { window: current, settling })
        })
    }
}
