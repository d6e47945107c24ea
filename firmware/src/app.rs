//! In: counters at every tick, bytes of commands. Out: bytes of frames; moves kept on flash.
//!
//! The whole monitor but its board. A board's main loop has three lines: [`App::sample`] at every tick,
//! [`App::hear`] when bytes came, [`App::say`] when the line takes some.

use embedded_storage::nor_flash::NorFlash;
use stillpoint_core::axis::{Axis, Event};
use stillpoint_core::settings::{Parameters, Settings};
use stillpoint_core::settling::Status;
use stillpoint_core::wire::LONGEST_PIECE;
use stillpoint_core::wire::command::{Apply, Command, DumpSince};
use stillpoint_core::wire::curve::Curve;
use stillpoint_core::wire::header::{Priority, Way};
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::receive::{Event as Heard, Receiver};
use stillpoint_core::wire::record::Move;
use stillpoint_core::wire::settings;
use stillpoint_core::wire::status::{Cause, Gap, Hello, Missing, Reset};

use crate::link::{Link, Put};
use crate::log::{Cursor, Error};
use crate::sampler::{Raw, Sampler, Taken};
use crate::store::Store;

mod told;

/// What the next axis was set to before the restart, if that is still valid.
fn kept<F: NorFlash>(store: &Store<F>, number: &mut usize) -> Option<Settings> {
    let settings = store.settings_of(*number)?;
    *number += 1;
    Settings::new(Parameters::from(&settings.parameters)).ok()
}

/// What a board knows of itself.
#[derive(Clone, Copy, Debug)]
pub struct Identity {
    /// The device's own number.
    pub device: [u8; 12],
    /// Name of the board.
    pub board: &'static str,
    /// Why it started.
    pub reset: Reset,
    /// Time between samples. Unit: ticks
    pub period: u32,
}

/// One watched axis.
#[derive(Debug)]
struct Watched {
    settings: Settings,
    axis: Axis,
    status: Status,
    samples: u64,
    gaps: u32,
}

/// The monitor.
#[derive(Debug)]
pub struct App<const AXES: usize, F> {
    identity: Identity,
    sampler: Sampler<AXES>,
    watched: [Watched; AXES],
    link: Link,
    receiver: Receiver,
    store: Store<F>,
    replay: Option<Cursor>,
    clock: Option<i64>,
    now: u64,
    last_command: Option<u32>,
    refused: u32,
}

impl<const AXES: usize, F: NorFlash> App<AXES, F> {
    /// Starts: opens the flash, takes a boot number and says hello.
    pub fn new(identity: Identity, settings: [Settings; AXES], flash: F) -> Result<App<AXES, F>, Error> {
        let store = Store::open(flash)?;
        let mut number = 0;
        let watched = settings.map(|settings| Watched {
            settings: kept(&store, &mut number).unwrap_or(settings),
            axis: Axis::default(),
            status: Status::default(),
            samples: 0,
            gaps: 0,
        });
        let mut app = App {
            identity,
            sampler: Sampler::new(identity.period),
            watched,
            link: Link::new(store.boot()),
            receiver: Receiver::new(Way::FromHost),
            store,
            replay: None,
            clock: None,
            now: 0,
            last_command: None,
            refused: 0,
        };
        app.identify();
        Ok(app)
    }

    /// Takes the counters latched at `tick`.
    pub fn sample(&mut self, tick: u32, raw: &[Raw; AXES]) {
        let taken = self.sampler.take(tick, raw);
        for (number, taken) in taken.taken() {
            let Some(watched) = self.watched.get_mut(number) else { continue };
            match taken {
                Taken::Gap(count) => {
                    let missing = Missing::Samples { axis: number as u8, first: watched.samples };
                    watched.axis.gap();
                    watched.gaps = watched.gaps.saturating_add(1);
                    watched.samples += u64::from(count);
                    self.tell(&Message::Gap(Gap { missing, count, cause: Cause::Overrun }));
                }
                Taken::Reading(reading) => {
                    watched.samples += 1;
                    watched.status = watched.axis.step(&watched.settings, reading);
                    self.now = watched.axis.now();
                    if watched.status.event {
                        self.events(number);
                    }
                }
            }
        }
    }

    /// No more samples come: the last rests end here. For recordings; a board never calls it.
    pub fn finish(&mut self) {
        for number in 0..AXES {
            if let Some(watched) = self.watched.get_mut(number) {
                watched.axis.finish(&watched.settings);
            }
            self.events(number);
        }
    }

    fn events(&mut self, number: usize) {
        while let Some(watched) = self.watched.get_mut(number) {
            match watched.axis.event() {
                None => break,
                Some(Event::Move(record)) => {
                    self.tell(&Message::Move(Move::new(number as u8, false, &record)));
                    self.curve(number, record.number);
                }
                Some(Event::FollowingError(_)) => self.tell_status(number),
            }
        }
    }

    fn curve(&mut self, number: usize, record: u32) {
        let Some(watched) = self.watched.get(number) else { return };
        let mut points = watched.axis.curve().peekable();
        let (mut first, mut buffer) = (0, [0; LONGEST_PIECE]);
        while let Some(curve) = Curve::take((number as u8, record, first), &mut points, &mut buffer) {
            first += curve.points().count() as u16;
            self.link.put(&Message::Curve(curve));
        }
    }

    /// Numbers a message, keeps it if it is one to be kept, and queues it.
    fn tell(&mut self, message: &Message) {
        let (header, put) = self.link.put(message);
        let sealed = self.store.keep(&header, message);
        if sealed && put == Put::NoRoom {
            self.link.forgive(header.priority);
        }
    }

    /// Takes bytes of commands as they come.
    pub fn hear(&mut self, bytes: &[u8]) {
        let mut left = bytes;
        while !left.is_empty() {
            let heard = match self.receiver.step(&mut left) {
                None => break,
                Some(Heard::Frame(frame)) => {
                    self.last_command = Some(frame.header.sequence);
                    frame.read::<Command>().ok().map(|read| read.payload)
                }
                Some(Heard::Echo(_)) => continue,
                Some(Heard::Corrupt(_)) => None,
            };
            let done = heard.is_some_and(|command| self.obey(&command));
            self.refused = self.refused.saturating_add(u32::from(!done));
        }
    }

    fn obey(&mut self, command: &Command) -> bool {
        match command {
            Command::Identify => self.identify(),
            Command::Apply(apply) => return self.apply(apply),
            Command::DumpSince(DumpSince { boot, sequence, .. }) => {
                self.replay = self.store.since(*boot, *sequence);
            }
            Command::SetClock(clock) => {
                self.clock = Some(clock.now.saturating_sub(self.microseconds()));
                self.hello();
            }
            // Raw samples and alarms are not kept yet: refusing says so.
            Command::CaptureNext(_) | Command::Acknowledge(_) => return false,
        }
        true
    }

    fn apply(&mut self, apply: &Apply) -> bool {
        let Some(watched) = self.watched.get_mut(usize::from(apply.axis)) else { return false };
        let parameters = Parameters::from(&apply.parameters);
        let refused = match Settings::new(parameters) {
            Ok(settings) => {
                watched.settings = settings;
                None
            }
            Err(invalid) => Some(invalid),
        };
        let answer = settings::Settings::new(apply.axis, &watched.settings, refused);
        self.tell(&Message::Settings(answer));
        let all = self.watched.iter().enumerate();
        let all = all.map(|(axis, watched)| settings::Settings::new(axis as u8, &watched.settings, None));
        // Applied all the same if the flash refuses; the next start then has the old ones.
        refused.is_none() && self.store.remember(all).is_ok()
    }

    fn identify(&mut self) {
        self.hello();
        for number in 0..AXES {
            let Some(watched) = self.watched.get(number) else { continue };
            let settings = settings::Settings::new(number as u8, &watched.settings, None);
            self.tell(&Message::Settings(settings));
        }
    }

    /// Fills `out` with what there is to say; how many bytes there are.
    pub fn say(&mut self, out: &mut [u8]) -> usize {
        self.replay_some();
        self.link.pull(out)
    }

    /// A frame of the log at a time, while the line has room for it.
    fn replay_some(&mut self) {
        while self.link.has_room(Priority::Move, 4) {
            let Some(mut cursor) = self.replay.take() else { return };
            let link = &mut self.link;
            if !self.store.read(&mut cursor, |header, message| {
                link.queue(header, message);
            }) {
                // The dump is complete: the status says so.
                (0..AXES).for_each(|number| self.tell_status(number));
                return;
            }
            self.replay = Some(cursor);
        }
    }

    fn ticks_per_second(&self) -> u32 {
        self.watched.first().map_or(1, |watched| watched.settings.ticks_per_second)
    }

    /// Time since the first reading. Unit: µs
    fn microseconds(&self) -> i64 {
        let rate = u64::from(self.ticks_per_second().max(1));
        let whole = (self.now / rate).saturating_mul(1_000_000);
        i64::try_from(whole.saturating_add(self.now % rate * 1_000_000 / rate)).unwrap_or(i64::MAX)
    }

    fn hello(&mut self) {
        let Identity { device, board, reset, .. } = self.identity;
        let hello = Hello {
            device,
            board,
            firmware: env!("CARGO_PKG_VERSION"),
            oldest: stillpoint_core::wire::OLDEST,
            axes: AXES as u8,
            ticks_per_second: self.ticks_per_second(),
            reset,
            clock: self.clock,
        };
        self.tell(&Message::Hello(hello));
    }
}
