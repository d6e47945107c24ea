//! In: how much is simulated, what to do for an axis. Out: the results by axis, by all processors.

use std::thread;

use super::cells::Cell;

/// Hours of work in a month, as the promise counts them.
pub const MONTH: f64 = 730.5;

/// How much is simulated.
#[derive(Clone, Copy, Debug)]
pub struct Size {
    /// Axes, each with a baseline of its own.
    pub axes: u32,
    /// Of work, for each axis. Unit: months
    pub months: f64,
    /// Moves of an axis in an hour of work, unless the cell has a number of its own. Unit: 1/h
    pub moves_per_hour: u32,
}

impl Size {
    /// The same with the moves per hour of a cell.
    pub fn of(self, cell: &Cell) -> Size {
        if cell.moves_per_hour > 0 { Size { moves_per_hour: cell.moves_per_hour, ..self } } else { self }
    }
}

/// The results of `one` for every axis, in their order.
pub fn by_axis<T: Send>(axes: u32, one: impl Fn(u32) -> T + Sync) -> Vec<T> {
    let threads = thread::available_parallelism().map_or(1, |count| count.get() as u32);
    let mut results: Vec<(u32, T)> = thread::scope(|scope| {
        let one = &one;
        let share = |first: u32| (first..axes).step_by(threads as usize).map(|axis| (axis, one(axis)));
        let begun: Vec<_> =
            (0..threads).map(|first| scope.spawn(move || share(first).collect::<Vec<_>>())).collect();
        begun.into_iter().flat_map(|thread| thread.join().expect("an axis ends")).collect()
    });
    results.sort_by_key(|result| result.0);
    results.into_iter().map(|result| result.1).collect()
}
