//! The driver against a chip in RAM that obeys the rules of a real one.

use core::convert::Infallible;

use embedded_hal::spi::{self, Operation, SpiDevice};

use super::*;

/// 64 KiB; busy for some looks after each change.
struct Chip {
    id: [u8; 3],
    bytes: Vec<u8>,
    enabled: bool,
    protected: bool,
    busy: u32,
}

impl Chip {
    fn new() -> Chip {
        Chip { id: [0x20, 0x40, 16], bytes: vec![0xFF; 1 << 16], enabled: false, protected: false, busy: 2 }
    }

    /// All bytes written with the chip selected; what comes back while `read` is clocked in.
    fn done(&mut self, sent: &[u8], read: &mut [u8]) {
        let at =
            sent.get(1..4).map_or(0, |place| place.iter().fold(0, |sum, byte| sum << 8 | usize::from(*byte)));
        assert!(self.busy == 0 || matches!(sent[0], READ_STATUS | IDENTIFY | WAKE), "addressed while busy");
        match sent[0] {
            WAKE => (),
            IDENTIFY => read.copy_from_slice(&self.id),
            READ_STATUS => {
                read[0] = u8::from(self.busy > 0) | u8::from(self.enabled) << 1;
                self.busy = self.busy.saturating_sub(1);
            }
            READ => read.copy_from_slice(&self.bytes[at..at + read.len()]),
            WRITE_ENABLE => self.enabled = !self.protected,
            PROGRAM | ERASE if !self.enabled => panic!("changed without being enabled"),
            PROGRAM => {
                for (step, byte) in sent[4..].iter().enumerate() {
                    self.bytes[at / 256 * 256 + (at + step) % 256] &= byte;
                }
                (self.enabled, self.busy) = (false, 3);
            }
            ERASE => {
                self.bytes[at / 4096 * 4096..][..4096].fill(0xFF);
                (self.enabled, self.busy) = (false, 50);
            }
            other => panic!("no such command: {other:#x}"),
        }
    }
}

impl spi::ErrorType for Chip {
    type Error = Infallible;
}

impl SpiDevice for Chip {
    fn transaction(&mut self, operations: &mut [Operation<'_, u8>]) -> Result<(), Infallible> {
        let (mut sent, mut nothing) = (vec![], []);
        let mut read: &mut [u8] = &mut nothing;
        for operation in operations {
            match operation {
                Operation::Write(bytes) => sent.extend_from_slice(bytes),
                Operation::Read(bytes) => read = bytes,
                Operation::DelayNs(_) => (),
                _ => panic!("not used by the driver"),
            }
        }
        if !sent.is_empty() {
            self.done(&sent, read);
        }
        Ok(())
    }
}

fn stored(nor: &mut Nor<Chip>, from: u32, length: usize) -> Vec<u8> {
    let mut bytes = vec![0; length];
    nor.read(from, &mut bytes).expect("it reads");
    bytes
}

#[track_caller]
fn check(offset: u32, length: usize) {
    let mut nor = Nor::find(Chip::new()).expect("a chip");
    let bytes: Vec<u8> = (0..length).map(|place| place as u8 ^ 0x5A).collect();
    nor.write(offset, &bytes).expect("it writes");
    assert_eq!(stored(&mut nor, offset, length), bytes);
    let others = nor.spi.bytes.iter().filter(|byte| **byte != 0xFF).count();
    assert_eq!(others, bytes.iter().filter(|byte| **byte != 0xFF).count(), "nothing else changed");
}

#[test]
fn writes_of_any_length_go_where_they_belong() {
    for (offset, length) in
        [(0, 1), (0, 256), (255, 2), (250, 600), (4090, 20), (65_535, 1), (65_280, 256), (7, 0)]
    {
        check(offset, length);
    }
}

#[test]
fn erasing_clears_whole_sectors_and_no_others() {
    let mut nor = Nor::find(Chip::new()).expect("a chip");
    nor.write(4000, &[0; 8500]).expect("it writes");
    nor.erase(4096, 12_288).expect("it erases");
    assert_eq!(stored(&mut nor, 4095, 1), [0]);
    assert_eq!(stored(&mut nor, 4096, 8192), vec![0xFF; 8192]);
    assert_eq!(stored(&mut nor, 12_288, 1), [0]);
    assert_eq!(nor.erase(1, 4096), Err(Error::NotAligned));
    assert_eq!(nor.erase(0, 1 << 17), Err(Error::OutOfBounds));
    assert_eq!(nor.erase(8192, 4096), Err(Error::OutOfBounds));
}

#[test]
fn impossible_requests_are_refused() {
    let find = |id: [u8; 3]| Nor::find(Chip { id, ..Chip::new() }).map(|nor| nor.bytes());
    assert_eq!(find([0xEF, 0x40, 24]), Ok(1 << 24));
    assert_eq!(find([0xEF, 0x40, 25]), Ok(1 << 24), "used as far as three bytes of address go");
    for id in [[0xFF; 3], [0; 3], [0xEF, 0x40, 15], [0xEF, 0x40, 32]] {
        assert_eq!(find(id), Err(Error::Absent(id)));
    }
    let mut nor = Nor::find(Chip { protected: true, ..Chip::new() }).expect("a chip");
    assert_eq!(nor.write(0, &[0]), Err(Error::Stuck));
    assert_eq!(nor.write(65_535, &[0, 0]), Err(Error::OutOfBounds));
    assert_eq!(nor.read(u32::MAX, &mut [0]), Err(Error::OutOfBounds));
    nor.spi.busy = u32::MAX;
    assert_eq!(nor.wait(), Err(Error::Stuck));
}

#[test]
fn the_monitors_log_keeps_its_frames_on_it() {
    use stillpoint_firmware::log::Log;
    let mut nor = Nor::find(Chip::new()).expect("a chip");
    let (mut log, _) = Log::open(&mut nor, 0..1 << 16).expect("it opens");
    (0..3000_u64)
        .for_each(|number| log.append(&mut nor, number, &number.to_le_bytes()).expect("it is stored"));
    let (mut log, opened) = Log::open(&mut nor, 0..1 << 16).expect("it opens again");
    assert_eq!((opened.damaged, opened.torn, log.newest()), (0, false, Some(2999)));
    let mut cursor = log.since(&mut nor, 2500).expect("a place");
    let (mut buffer, mut next) = ([0; 64], 2500_u64);
    while let Some(entry) = log.read(&mut nor, &mut cursor, &mut buffer).expect("it reads") {
        assert_eq!((entry.number, entry.frame), (next, &next.to_le_bytes()[..]));
        next += 1;
    }
    assert_eq!(next, 3000);
}
