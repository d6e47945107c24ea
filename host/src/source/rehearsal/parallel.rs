//! In: a machine at its start. Out: the same readings, each axis simulated in advance on its own thread.
//!
//! The axes are independent of each other, so the readings are the same to the last bit.

use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::thread::Builder;

use stillpoint_core::Reading;

use super::axis::Axis;
use super::machine::{Life, Machine};

/// Readings in a block: one second at the default rate.
const BLOCK: usize = 4000;
/// Blocks simulated in advance.
const BLOCKS: usize = 4;

/// Readings of one axis, simulated on a thread.
#[derive(Debug)]
struct Readings {
    blocks: Receiver<Vec<Reading>>,
    block: std::vec::IntoIter<Reading>,
}

impl Readings {
    /// Starts the thread; fails if the system refuses it.
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

/// Simulates until the receiver is dropped.
fn simulate(mut axis: Axis, life: Life, sender: &SyncSender<Vec<Reading>>) {
    let mut sample = 0;
    loop {
        let mut block = Vec::with_capacity(BLOCK);
        for _ in 0..BLOCK {
            axis.set_age(life.age(sample));
            block.push(axis.step());
            sample += 1;
        }
        if sender.send(block).is_err() {
            return;
        }
    }
}

/// A machine whose axes are simulated on threads; if threads fail, each step simulates one sample.
#[derive(Debug)]
pub struct ParallelMachine {
    machine: Machine,
    axes: Option<[Readings; 3]>,
    samples: u64,
}

impl ParallelMachine {
    /// `machine` must not have moved yet.
    pub fn new(machine: Machine) -> ParallelMachine {
        let [a, b, c] = machine.axes().clone().map(|axis| Readings::new(axis, machine.life()).ok());
        let axes = a.zip(b).zip(c).map(|((a, b), c)| [a, b, c]);
        ParallelMachine { machine, axes, samples: 0 }
    }

    /// The next reading of each axis, all at the same tick. Unit: counts
    pub fn step(&mut self) -> [Reading; 3] {
        self.samples += 1;
        let readings = self.axes.as_mut().map(|axes| axes.each_mut().map(Readings::step));
        match readings {
            Some([Some(a), Some(b), Some(c)]) => [a, b, c],
            _ => self.step_without_threads(),
        }
    }

    /// Simulates on this thread, after catching up with the samples that the threads gave.
    fn step_without_threads(&mut self) -> [Reading; 3] {
        self.axes = None;
        while self.machine.samples() + 1 < self.samples {
            self.machine.step();
        }
        self.machine.step()
    }

    /// Time of the next readings, from the start. Unit: s
    pub fn seconds(&self) -> f64 {
        self.machine.life().seconds(self.samples)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn readings_equal_those_of_the_machine() {
        let mut machine = Machine::new(5, 4000, Some(5.0 / 3600.0)).unwrap();
        let mut parallel = ParallelMachine::new(machine.clone());
        assert!(parallel.axes.is_some(), "threads are available");
        for sample in 0..5 * BLOCK {
            assert_eq!(parallel.seconds(), machine.seconds());
            assert_eq!(parallel.step(), machine.step(), "sample {sample}");
        }
        parallel.axes = None;
        assert_eq!(parallel.step(), machine.step(), "without its threads");
    }
}
