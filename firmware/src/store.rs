//! In: sealed frames of moves, and settings. Out: both again from flash after any power cut, and a number for each start.
//!
//! The number of a frame on flash is the boot number, then the sequence number: a frame that a host misses is found
//! without an index.

use embedded_storage::nor_flash::NorFlash;
use heapless::Vec;
use stillpoint_core::wire::command::{Apply, Command};
use stillpoint_core::wire::crc::SmallTable;
use stillpoint_core::wire::frame::{Frame, encode_body};
use stillpoint_core::wire::header::{Direction, Header};
use stillpoint_core::wire::settings::Parameters;
use stillpoint_core::wire::{CURRENT, LONGEST_BODY};

use crate::log::blob_store::BlobStore;
use crate::log::{Cursor, Error, Log};

/// Pages for the boot number and the settings.
const STATE_PAGES: u32 = 2;

/// Room for both: the boot number, then the settings of each axis as the body of the command that applies them, with
/// its length before it. Unit: bytes
const STATE: usize = 1024;

/// The log, and the state that outlives a restart, on one flash.
#[derive(Debug)]
pub struct Store<F> {
    flash: F,
    log: Log,
    boot: u32,
    blob: BlobStore,
    /// Boot number and settings as they are on flash.
    state: Vec<u8, STATE>,
}

impl<F: NorFlash> Store<F> {
    /// Opens the whole flash and takes the next boot number.
    pub fn open(mut flash: F) -> Result<Store<F>, Error> {
        let page = u32::try_from(F::ERASE_SIZE).map_err(|_| Error::Geometry)?;
        let (state_end, end) = (page * STATE_PAGES, u32::try_from(flash.capacity()).unwrap_or(u32::MAX));
        let mut blob = BlobStore::new(&flash, 0..state_end)?;
        let mut bytes = [0; STATE];
        let state = blob.load(&mut flash, &mut bytes)?.unwrap_or_default();
        let (last, settings) =
            state.split_first_chunk().map_or((None, state), |(last, settings)| (Some(*last), settings));
        let (log, _) = Log::open(&mut flash, state_end..end)?;
        // If the stored boot number is lost, the log still has the number of an earlier start.
        let logged = log.newest().map_or(0, |newest| (newest >> 32) as u32);
        let boot = last.map_or(0, u32::from_le_bytes).max(logged).saturating_add(1);
        let mut store = Store { flash, log, boot, blob, state: Vec::new() };
        store.save_state(settings)?;
        Ok(store)
    }

    /// Saves the boot number and the settings, as [`Store::saved_settings`] reads them.
    fn save_state(&mut self, settings: &[u8]) -> Result<(), Error> {
        self.state.clear();
        let fits = self.state.extend_from_slice(&self.boot.to_le_bytes()).is_ok()
            && self.state.extend_from_slice(settings).is_ok();
        if fits { self.blob.save(&mut self.flash, &self.state) } else { Err(Error::TooLong(STATE)) }
    }

    /// Saves the settings of all axes.
    pub fn save_settings(&mut self, settings: impl Iterator<Item = Apply>) -> Result<(), Error> {
        let mut bodies = Vec::<u8, STATE>::new();
        for apply in settings {
            let mut buffer = [0; LONGEST_BODY];
            let header = Header { version: CURRENT, direction: Direction::FromHost, ..Header::default() };
            let body = encode_body::<SmallTable>(&header, &Command::Apply(apply), &mut buffer);
            let body = body.map_err(|_| Error::TooLong(LONGEST_BODY))?;
            let fits = bodies.push(body.len() as u8).is_ok() && bodies.extend_from_slice(body).is_ok();
            if !fits {
                return Err(Error::TooLong(STATE));
            }
        }
        self.save_state(&bodies)
    }

    /// Settings of an axis before the restart, if they were saved and are undamaged.
    pub fn saved_settings(&self, axis: usize) -> Option<Parameters> {
        let mut bodies = self.state.get(4..)?;
        for _ in 0..axis {
            bodies = bodies.get(1 + usize::from(*bodies.first()?)..)?;
        }
        let (length, rest) = bodies.split_first()?;
        let frame = Frame::check::<SmallTable>(rest.get(..usize::from(*length))?).ok()?;
        match frame.read::<Command>().ok()?.payload {
            Command::Apply(apply) if usize::from(apply.axis) == axis => Some(apply.parameters),
            _ => None,
        }
    }

    /// Number of this start, which no earlier start had.
    pub fn boot(&self) -> u32 {
        self.boot
    }

    /// Appends a sealed frame to the log; whether it is there to stay.
    pub fn append(&mut self, header: &Header, body: &[u8]) -> bool {
        let number = u64::from(header.boot) << 32 | u64::from(header.sequence);
        self.log.append(&mut self.flash, number, body).is_ok()
    }

    /// A cursor at this frame, or at the oldest if it is not in the log.
    pub fn since(&mut self, boot: u32, sequence: u32) -> Option<Cursor> {
        self.log.since(&mut self.flash, u64::from(boot) << 32 | u64::from(sequence)).ok()
    }

    /// Hands the next frame at the cursor to `receive`; `false` at the end of the log.
    pub fn read(&mut self, cursor: &mut Cursor, receive: impl FnOnce(&Frame)) -> bool {
        let mut buffer = [0; LONGEST_BODY];
        let Ok(Some(entry)) = self.log.read(&mut self.flash, cursor, &mut buffer) else { return false };
        // An entry that is no frame is skipped.
        if let Ok(frame) = Frame::check::<SmallTable>(entry.frame) {
            receive(&frame);
        }
        true
    }
}
