//! In: counters at every tick, bytes of commands. Out: bytes of frames; moves kept on flash; a lamp.
//!
//! The whole monitor but its board. A board's main loop has three lines: [`App::sample`] at every tick,
//! [`App::hear`] when bytes came, [`App::say`] when the line takes some.
//!
//! What is not like on every board is a parameter: `AXES`, and `LINES` delay lines of `LINE` samples each
//! for axes whose command end is inferred; without any, such settings are refused and nothing is spent;
//! and on each axis `KINDS` kinds of moves are watched at a time.

use embedded_storage::nor_flash::NorFlash;
use heapless::{Deque, Vec};
use stillpoint_core::drift::DriftSettings;
use stillpoint_core::wire::alarm::Subject;
use stillpoint_core::wire::drift::RestartReason;
use stillpoint_core::wire::header::Direction;
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::receive::Receiver;
use stillpoint_core::wire::status::{Cause, Gap, Missing, Reset};
use stillpoint_core::{Event, Reading, Settings};

use crate::lamp::{Lamp, Wrong};
use crate::link::Link;
use crate::log::{Cursor, Error};
use crate::sampler::{Raw, Sampler};
use crate::store::Store;

use alarms::Alarms;
use kinds::{Compared, WAITING, Waiting};
use lines::Lines;
use watched::{Asked, Watched};

mod alarms;
mod kinds;
mod lines;
mod watched;
mod told;
mod serve;

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

/// The monitor.
#[derive(Debug)]
pub struct App<const AXES: usize, F, const LINES: usize = 0, const LINE: usize = 0, const KINDS: usize = 8> {
    identity: Identity,
    sampler: Sampler<AXES>,
    watched: [Watched; AXES],
    lines: Lines<LINES, LINE>,
    /// Made with the first move of an axis, so that starting takes little stack.
    compared: Vec<Compared<KINDS>, AXES>,
    waiting: Deque<Waiting, WAITING>,
    alarms: Alarms<AXES>,
    link: Link,
    receiver: Receiver,
    store: Store<F>,
    replay: Option<Cursor>,
    clock: Option<i64>,
    /// Time since the first reading, and its time stamp now. Unit: ticks
    now: u64,
    tick: Option<u32>,
    last_command: Option<u32>,
    refused: u32,
    /// Samples and frames of moves, and whether some were lost at this tick.
    lost: u32,
    losing: bool,
}

impl<const AXES: usize, F: NorFlash, const LINES: usize, const LINE: usize, const KINDS: usize>
    App<AXES, F, LINES, LINE, KINDS>
{
    /// Starts: opens the flash, takes a boot number and says hello.
    ///
    /// An axis is set to what it was before the restart, or else to its `settings`.
    pub fn new(identity: Identity, settings: [Settings; AXES], flash: F) -> Result<Self, Error> {
        Store::open(flash).map(|store| App::start(identity, settings, store))
    }

    /// The same on a flash that is open already. Made where it stays, as far as the compiler can: it is large
    /// for the stack of a board.
    #[inline(never)]
    pub fn start(identity: Identity, settings: [Settings; AXES], mut store: Store<F>) -> Self {
        let (mut lines, mut link, mut number) = (Lines::new(), Link::new(store.boot()), 0);
        let asked = settings.map(|settings| {
            let kept = store.settings_of(number).and_then(|kept| Asked::new(&kept).ok());
            let kept = kept.filter(|kept| !kept.inferred || lines.reserve(number));
            number += 1;
            kept.unwrap_or(Asked { settings, inferred: false, watch: DriftSettings::default() })
        });
        let rate = asked.first().map_or(1, |asked| asked.settings.ticks_per_second);
        told::greet(&identity, &asked, &mut link, &mut store);
        App {
            identity,
            sampler: Sampler::new(identity.period),
            watched: asked.map(|asked| Watched::new(asked, identity.period)),
            lines,
            compared: Vec::new(),
            waiting: Deque::new(),
            alarms: Alarms::new(rate),
            link,
            receiver: Receiver::new(Direction::FromHost),
            store,
            replay: None,
            clock: None,
            now: 0,
            tick: None,
            last_command: None,
            refused: 0,
            lost: 0,
            losing: false,
        }
    }

    /// Takes the counters latched at `tick`.
    ///
    /// Not inlined, like what it does for each axis: in the frame of a main loop both would lack registers.
    #[inline(never)]
    pub fn sample(&mut self, tick: u32, raw: &[Raw; AXES]) {
        let elapsed = self.tick.replace(tick).map_or(0, |last| tick.wrapping_sub(last));
        // A clock that stands or goes back is for the core to mark.
        if elapsed <= u32::MAX / 2 {
            self.now += u64::from(elapsed);
        }
        let taken = self.sampler.take(tick, raw);
        self.look_for_losses();
        if self.alarms.is_due(self.now) {
            self.tell_alarm(None);
        }
        for (number, (&reading, raw)) in taken.readings.iter().zip(raw).enumerate() {
            if taken.missed > 0 {
                self.gap(number, taken.missed);
            }
            self.reading(number, raw, reading);
        }
    }

    /// What the lamp, the buzzer and the contact are to show.
    pub fn lamp(&self) -> Lamp {
        let warning = self.watched.iter().any(|watched| watched.warned);
        Lamp::new(&Wrong { warning, ..self.alarms.wrong() })
    }

    /// Whether the lamp is lit now.
    pub fn is_lit(&self) -> bool {
        self.lamp().is_lit(self.now, self.ticks_per_second())
    }

    /// Samples, and frames that neither the line nor the log took.
    fn look_for_losses(&mut self) {
        let [_, of_moves, ..] = self.link.lost();
        let lost = self.sampler.missed().saturating_add(of_moves);
        let more = lost.saturating_sub(self.lost);
        if more > 0 || self.losing {
            (self.lost, self.losing) = (lost, more > 0);
            self.alarm((0, Subject::Gap), more.into(), (0, 0));
        }
    }

    /// Illegal transitions since the start, where a tap counts them: feedback of an axis.
    pub fn illegal(&mut self, axis: usize, count: u32) {
        if let Some(watched) = self.watched.get_mut(axis) {
            watched.illegal = count;
        }
    }

    fn gap(&mut self, number: usize, count: u32) {
        let Some(watched) = self.watched.get_mut(number) else { return };
        let missing = Missing::Samples { axis: number as u8, first: watched.samples };
        watched.gap(count);
        if let Some(line) = self.lines.of(number) {
            line.gap();
        }
        self.tell(&Message::Gap(Gap { missing, count, cause: Cause::Overrun }));
    }

    #[inline(never)]
    fn reading(&mut self, number: usize, raw: &Raw, reading: Reading) {
        let period = self.identity.period;
        if self.watched.get(number).is_some_and(|watched| watched.is_overdue(self.now)) {
            self.renew_and_tell(number);
        }
        let Some(watched) = self.watched.get_mut(number) else { return };
        let finding = watched.look(raw, reading, period);
        let inferred = watched.asked.inferred;
        if let Some(finding) = finding {
            self.found(number, finding);
        }
        if inferred { self.infer(number, reading) } else { self.step(number, reading, 0) }
    }

    /// Gives an axis a reading taken so long ago. Unit: ticks
    fn step(&mut self, number: usize, reading: Reading, ago: u32) {
        if self.watched.get(number).is_some_and(|watched| watched.is_due(&reading)) {
            let was_inferred = self.is_inferred(number);
            self.renew_and_tell(number);
            // What comes next comes out of another place.
            if was_inferred || self.is_inferred(number) {
                return;
            }
        }
        let Some(watched) = self.watched.get_mut(number) else { return };
        watched.step(reading, self.now, ago);
        if watched.status.event {
            self.events(number);
        }
        if let Some(watched) = self.watched.get_mut(number) {
            watched.stepped(reading);
        }
    }

    fn is_inferred(&self, number: usize) -> bool {
        self.watched.get(number).is_some_and(|watched| watched.asked.inferred)
    }

    /// Others are in force from here on.
    fn renew_and_tell(&mut self, number: usize) {
        self.renew(number);
        let Some(settings) = self.watched.get(number).map(|watched| watched.accepted(number as u8)) else {
            return;
        };
        self.tell(&Message::Settings(settings));
        self.restart(number, 0, RestartReason::Settings);
    }

    /// Closes the last rest and puts the settings in force that waited.
    fn renew(&mut self, number: usize) {
        let Some(watched) = self.watched.get_mut(number) else { return };
        watched.axis.finish();
        self.events(number);
        let Some(watched) = self.watched.get_mut(number) else { return };
        let again = watched.renew();
        self.unfound(number);
        let Some(watched) = self.watched.get_mut(number) else { return };
        if let Some(last) = again {
            let ago = self.tick.unwrap_or(0).wrapping_sub(last.tick);
            watched.step(last, self.now, ago);
            watched.stepped(last);
        }
        if let Some(line) = self.lines.of(number) {
            line.gap();
        }
        if !watched.asked.inferred {
            self.lines.release(number);
        }
    }

    /// No more samples come: the last rests end here. For recordings; a board never calls it.
    pub fn finish(&mut self) {
        for number in 0..AXES {
            if let Some(watched) = self.watched.get_mut(number) {
                watched.axis.finish();
            }
            self.events(number);
        }
        while !self.waiting.is_empty() {
            self.idle();
        }
    }

    fn events(&mut self, number: usize) {
        while let Some(watched) = self.watched.get_mut(number) {
            match watched.axis.event() {
                None => break,
                Some(Event::Move(record)) => self.told(number, record),
                Some(Event::FollowingError(lasts)) => self.following_error(number, lasts),
            }
        }
    }

    /// Fills `out` with what there is to say; how many bytes there are.
    pub fn say(&mut self, out: &mut [u8]) -> usize {
        self.idle();
        self.replay_some();
        self.link.pull(out)
    }
}
