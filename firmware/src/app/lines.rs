//! In: axes without a command. Out: a delay line for each, as long as there are some.

use embedded_storage::nor_flash::NorFlash;
use stillpoint_core::Reading;

use super::App;
use crate::infer::Infer;

/// The delay lines of a board; an axis whose command is tapped has none.
#[derive(Debug)]
pub(super) struct Lines<const LINES: usize, const SAMPLES: usize> {
    lines: [(Option<usize>, Infer<SAMPLES>); LINES],
}

impl<const LINES: usize, const SAMPLES: usize> Lines<LINES, SAMPLES> {
    pub(super) fn new() -> Lines<LINES, SAMPLES> {
        Lines { lines: core::array::from_fn(|_| (None, Infer::default())) }
    }

    /// The line of an axis.
    pub(super) fn of(&mut self, axis: usize) -> Option<&mut Infer<SAMPLES>> {
        self.lines.iter_mut().find(|line| line.0 == Some(axis)).map(|line| &mut line.1)
    }

    /// Gives an axis a line, unless it has one; whether it has one now.
    pub(super) fn reserve(&mut self, axis: usize) -> bool {
        if self.of(axis).is_some() {
            return true;
        }
        let free = self.lines.iter_mut().find(|line| line.0.is_none());
        free.map(|line| line.0 = Some(axis)).is_some()
    }

    /// The axis needs its line no longer.
    pub(super) fn release(&mut self, axis: usize) {
        if let Some(line) = self.lines.iter_mut().find(|line| line.0 == Some(axis)) {
            line.0 = None;
            line.1.gap();
        }
    }
}

impl<const AXES: usize, F: NorFlash, const LINES: usize, const LINE: usize, const KINDS: usize>
    App<AXES, F, LINES, LINE, KINDS>
{
    /// Gives an axis without a command what comes out of its delay line.
    pub(super) fn infer(&mut self, number: usize, reading: Reading) {
        let Some(watched) = self.watched.get(number) else { return };
        let limits = watched.asked.inference(self.identity.period);
        let line = self.lines.of(number);
        let Some(delayed) = line.and_then(|line| line.step(&limits, reading.tick, reading.feedback)) else {
            return;
        };
        if delayed.gap
            && let Some(watched) = self.watched.get_mut(number)
        {
            watched.axis.gap();
        }
        self.step(number, delayed.reading, reading.tick.wrapping_sub(delayed.reading.tick));
    }
}
