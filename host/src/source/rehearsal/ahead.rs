//! In: a machine at its start. Out: the same readings, each axis simulated ahead on a thread of its own.
//!
//! The axes know nothing of each other, so the readings are the same to the last bit; only sooner.

use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::thread::Builder;

use stillpoint_core::Reading;

use super::axis::Axis;
use super::machine::{Life, Machine};

/// Readings handed over at a time: a second of them at the usual rate.
const BLOCK: usize = 4000;
/// Blocks that an axis may be ahead.
const BLOCKS: usize = 4;

/// One axis, simulated ahead.
#[derive(Debug)]
struct Readings {
    blocks: Receiver<Vec<Reading>>,
    block: std::vec::IntoIter<Reading>,
}

impl Readings {
    /// Fails if the system gives no thread.
    fn new(axis: Axis, life: Life) -> std::io::Result<Readings> {
        let (sender, blocks) = sync_channel(BLOCKS);
        Builder::new().name(axis.data().name.to_owned()).spawn(move || simulate(axis, life, &sender))?;
        Ok(Readings { blocks, block: vec![].into_iter() })
    }

    fn step(&mut self) -> Option<Reading> {
        if self.block.as_slice().is_empty() {
            self.block = self.blocks.recv().ok()?.into_iter();
        }
        self.block.next()
    }
}

/// Until nobody listens any more.
fn simulate(mut axis: Axis, life: Life, listener: &SyncSender<Vec<Reading>>) {
    let mut sample = 0;
    loop {
        let mut block = Vec::with_capacity(BLOCK);
        for _ in 0..BLOCK {
            axis.set_age(life.age(sample));
            block.push(axis.step());
            sample += 1;
        }
        if listener.send(block).is_err() {
            return;
        }
    }
}

/// A machine whose axes are simulated ahead; without threads it is simulated as it is asked.
#[derive(Debug)]
pub struct Ahead {
    machine: Machine,
    axes: Option<[Readings; 3]>,
    samples: u64,
}

impl Ahead {
    /// Takes a machine that has not moved yet.
    pub fn new(machine: Machine) -> Ahead {
        let [a, b, c] = machine.axes().clone().map(|axis| Readings::new(axis, machine.life()).ok());
        let axes = a.zip(b).zip(c).map(|((a, b), c)| [a, b, c]);
        Ahead { machine, axes, samples: 0 }
    }

    /// The next reading of each axis, all taken at the same tick. Unit: counts
    pub fn step(&mut self) -> [Reading; 3] {
        self.samples += 1;
        let ahead = self.axes.as_mut().map(|axes| axes.each_mut().map(Readings::step));
        match ahead {
            Some([Some(a), Some(b), Some(c)]) => [a, b, c],
            _ => self.simulated(),
        }
    }

    /// The same without threads, caught up with what they have told.
    fn simulated(&mut self) -> [Reading; 3] {
        self.axes = None;
        while self.machine.samples() + 1 < self.samples {
            self.machine.step();
        }
        self.machine.step()
    }

    /// When the next readings are taken, from the start. Unit: s
    pub fn seconds(&self) -> f64 {
        self.machine.life().seconds(self.samples)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_readings_are_those_of_the_machine() {
        let mut machine = Machine::new(5, 4000, Some(5.0 / 3600.0)).unwrap();
        let mut ahead = Ahead::new(machine.clone());
        assert!(ahead.axes.is_some(), "threads are at hand");
        for sample in 0..5 * BLOCK {
            assert_eq!(ahead.seconds(), machine.seconds());
            assert_eq!(ahead.step(), machine.step(), "sample {sample}");
        }
        ahead.axes = None;
        assert_eq!(ahead.step(), machine.step(), "without its threads");
    }
}
