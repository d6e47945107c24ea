//! In: numbered frames of moves. Out: the same from flash, after any power cut; and a number for each start.
//!
//! Only frames of the priority [`Priority::Move`] are kept. Their number on flash is the boot number, then
//! the sequence number, so that a frame a host misses is found without an index.

use embedded_storage::nor_flash::NorFlash;
use heapless::Vec;
use stillpoint_core::wire::command::{Apply, Command};
use stillpoint_core::wire::crc::SmallTable;
use stillpoint_core::wire::frame::{Frame, encode_body};
use stillpoint_core::wire::header::{Direction, Header, Priority};
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::settings::Parameters;
use stillpoint_core::wire::{CURRENT, LONGEST_BODY};

use crate::log::keep::Keep;
use crate::log::{Cursor, Error, Log};

/// Pages for what outlives a restart: the boot number and the settings.
const KEPT_PAGES: u32 = 2;

/// Room for both: the number, then each axis's settings as the body of the command that asks for them, with
/// its length before it. Unit: bytes
const KEPT: usize = 1024;

/// Log and kept numbers on one flash.
#[derive(Debug)]
pub struct Store<F> {
    flash: F,
    log: Log,
    boot: u32,
    keep: Keep,
    kept: Vec<u8, KEPT>,
    /// Frames that could not be kept.
    failed: u32,
}

impl<F: NorFlash> Store<F> {
    /// Opens the whole flash and takes the next boot number.
    pub fn open(mut flash: F) -> Result<Store<F>, Error> {
        let page = u32::try_from(F::ERASE_SIZE).map_err(|_| Error::Geometry)?;
        let (kept, end) = (page * KEPT_PAGES, u32::try_from(flash.capacity()).unwrap_or(u32::MAX));
        let mut keep = Keep::new(&flash, 0..kept)?;
        let mut bytes = [0; KEPT];
        let known = keep.load(&mut flash, &mut bytes)?.unwrap_or_default();
        let (last, settings) =
            known.split_first_chunk().map_or((None, known), |(last, rest)| (Some(*last), rest));
        let (log, _) = Log::open(&mut flash, kept..end)?;
        // Should the kept number be lost, the log still tells a start that was.
        let logged = log.newest().map_or(0, |newest| (newest >> 32) as u32);
        let boot = last.map_or(0, u32::from_le_bytes).max(logged).saturating_add(1);
        let mut store = Store { flash, log, boot, keep, kept: Vec::new(), failed: 0 };
        store.keep_settings(settings)?;
        Ok(store)
    }

    /// Settings as [`Store::settings_of`] reads them, to outlive the next restart.
    fn keep_settings(&mut self, settings: &[u8]) -> Result<(), Error> {
        self.kept.clear();
        let whole = self.kept.extend_from_slice(&self.boot.to_le_bytes()).is_ok()
            && self.kept.extend_from_slice(settings).is_ok();
        if whole { self.keep.save(&mut self.flash, &self.kept) } else { Err(Error::TooLong(KEPT)) }
    }

    /// Keeps what all axes are set to.
    pub fn remember(&mut self, asked: impl Iterator<Item = Apply>) -> Result<(), Error> {
        let mut bodies = Vec::<u8, KEPT>::new();
        for apply in asked {
            let mut buffer = [0; LONGEST_BODY];
            let header = Header { version: CURRENT, direction: Direction::FromHost, ..Header::default() };
            let body = encode_body::<SmallTable>(&header, &Command::Apply(apply), &mut buffer);
            let body = body.map_err(|_| Error::TooLong(LONGEST_BODY))?;
            let whole = bodies.push(body.len() as u8).is_ok() && bodies.extend_from_slice(body).is_ok();
            if !whole {
                return Err(Error::TooLong(KEPT));
            }
        }
        self.keep_settings(&bodies)
    }

    /// What an axis was set to before the restart, if anything was kept and is whole.
    pub fn settings_of(&self, axis: usize) -> Option<Parameters> {
        let mut left = self.kept.get(4..)?;
        for _ in 0..axis {
            left = left.get(1 + usize::from(*left.first()?)..)?;
        }
        let (length, rest) = left.split_first()?;
        let frame = Frame::check::<SmallTable>(rest.get(..usize::from(*length))?).ok()?;
        match frame.read::<Command>().ok()?.payload {
            Command::Apply(apply) if usize::from(apply.axis) == axis => Some(apply.parameters),
            _ => None,
        }
    }

    /// A number that no earlier start had.
    pub fn boot(&self) -> u32 {
        self.boot
    }

    /// Frames that could not be kept.
    pub fn failed(&self) -> u32 {
        self.failed
    }

    /// Keeps a frame if it is one of a move; whether it is sealed.
    pub fn keep(&mut self, header: &Header, message: &Message) -> bool {
        if header.priority != Priority::Move {
            return false;
        }
        let mut buffer = [0; LONGEST_BODY];
        let number = u64::from(header.boot) << 32 | u64::from(header.sequence);
        let body = encode_body::<SmallTable>(header, message, &mut buffer).ok();
        let sealed = body.is_some_and(|body| self.log.append(&mut self.flash, number, body).is_ok());
        self.failed = self.failed.saturating_add(u32::from(!sealed));
        sealed
    }

    /// From this frame on, or from the oldest if there is none such.
    pub fn since(&mut self, boot: u32, sequence: u32) -> Option<Cursor> {
        self.log.since(&mut self.flash, u64::from(boot) << 32 | u64::from(sequence)).ok()
    }

    /// The next frame at the cursor, given to `take` as it was sent.
    pub fn read(&mut self, cursor: &mut Cursor, take: impl FnOnce(&Frame)) -> bool {
        let mut buffer = [0; LONGEST_BODY];
        let Ok(Some(entry)) = self.log.read(&mut self.flash, cursor, &mut buffer) else { return false };
        // What is no frame was no frame when it was kept; the next one is read all the same.
        if let Ok(frame) = Frame::check::<SmallTable>(entry.frame) {
            take(&frame);
        }
        true
    }
}
