//! In: readings of one axis. Out: what is wrong with its signals; its moves, numbered and placed in time.
//!
//! Other settings wait until a move begins: the one before, with its rest, is then wholly measured by the
//! old ones and the new one wholly by the new. Where the command scale, the tap or anything about an
//! inferred command changes, the axis begins anew, and the first move after that may be told as joined
//! late; numbers and instants go on. A command that stands for a second is then waited for no longer: it
//! may be the dead one that the change is about.

use stillpoint_core::drift::DriftSettings;
use stillpoint_core::wire::settings;
use stillpoint_core::{Axis, Outcome, Parameters, Reading, Record, Settings, Status};

use crate::capture::{Capture, Spare};
use crate::health::{Finding, Health, Limits, Severity, most_change};
use crate::infer;
use crate::sampler::Raw;
use crate::tap::Register;

/// What is asked of an axis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Asked {
    pub(super) settings: Settings,
    /// Of the watch over its moves.
    pub(super) watch: DriftSettings,
    /// No command can be tapped.
    pub(super) inferred: bool,
}

impl Asked {
    /// As a host sends it, once checked.
    pub(super) fn new(sent: &settings::Parameters) -> Result<Asked, stillpoint_core::Invalid> {
        let settings = Settings::new(Parameters::from(sent))?;
        Ok(Asked { settings, watch: DriftSettings::new((&sent.drift).into())?, inferred: sent.inferred })
    }

    /// As a host is told, in force.
    pub(super) fn told(&self, axis: u8) -> settings::Settings {
        let told = settings::Settings::new(axis, &self.settings, None);
        let drift = (&self.watch).into();
        let parameters = settings::Parameters { inferred: self.inferred, drift, ..told.parameters };
        settings::Settings { parameters, ..told }
    }

    /// Nothing that the axis has found out so far holds under the other.
    fn breaks(&self, other: &Asked) -> bool {
        let scale = |asked: &Asked| asked.settings.command_scale;
        self.inferred || other.inferred || scale(self) != scale(other)
    }

    /// For the inference: still is a quarter of the window, at least an encoder step; rest is the rest
    /// time. Unit: ticks
    pub(super) fn inference(&self, period: u32) -> infer::Limits {
        let still = (self.settings.window / 4).max(self.settings.encoder_step);
        let rest = self.settings.rest_time.checked_div(period).unwrap_or(0).max(8);
        infer::Limits { still, rest, period }
    }
}

/// What an axis had counted before it began anew.
#[derive(Clone, Copy, Debug, Default)]
struct Before {
    moves: u32,
    small: u32,
    lost: u32,
}

/// One watched axis.
#[derive(Debug)]
pub(super) struct Watched {
    /// In force.
    pub(super) asked: Asked,
    /// Waits for the next move.
    pub(super) pending: Option<Asked>,
    pub(super) axis: Axis,
    pub(super) status: Status,
    pub(super) samples: u64,
    pub(super) gaps: u32,
    /// Illegal transitions that the tap has counted.
    pub(super) illegal: u32,
    /// The last reading that the axis was given.
    last: Option<Reading>,
    /// When the axis began, since the first reading; none before it was given one. Unit: ticks
    since: Option<u64>,
    before: Before,
    /// When it was last given a reading, and one with another command. Unit: ticks
    fed: u64,
    changed: u64,
    health: Health,
    /// What is right for the signals; none until a reading tells how wide the counters are.
    limits: Option<Limits>,
    /// A signal is near its limit.
    pub(super) warned: bool,
    /// Around the last stop.
    pub(super) capture: Capture,
    spare: Spare,
    /// Stops of which a host wants the samples.
    pub(super) stops: u32,
    /// Stops in a row that did not settle.
    pub(super) unsettled: u8,
}

/// For whom the samples of a stop are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Wanted {
    Nobody,
    /// A host has asked for them.
    Asked,
    /// The stop did not settle.
    Evidence,
}

impl Watched {
    pub(super) fn new(asked: Asked, period: u32) -> Watched {
        let rate = asked.settings.ticks_per_second.checked_div(period).unwrap_or(0);
        Watched {
            asked,
            pending: None,
            axis: Axis::new(asked.settings),
            status: Status::default(),
            samples: 0,
            gaps: 0,
            illegal: 0,
            last: None,
            since: None,
            before: Before::default(),
            fed: 0,
            changed: 0,
            health: Health::default(),
            limits: None,
            warned: false,
            capture: Capture::new(Capture::factor_of(rate)),
            spare: Spare::default(),
            stops: 0,
            unsettled: 0,
        }
    }

    /// Readings are missing before the next one.
    pub(super) fn gap(&mut self, count: u32) {
        self.gaps = self.gaps.saturating_add(1);
        self.samples += u64::from(count);
        self.health.gap();
        // Where the command is inferred the readings before the gap are still to come.
        if !self.asked.inferred {
            self.axis.gap();
        }
    }

    /// Looks at the signals as they come; `period` in ticks.
    pub(super) fn look(&mut self, raw: &Raw, reading: Reading, period: u32) -> Option<Finding> {
        self.samples += 1;
        let asked = &self.asked;
        let limits = self.limits.get_or_insert_with(|| limits(asked, raw, period));
        // A tap that is not there has no faults.
        let command = if self.asked.inferred { reading.feedback } else { reading.command };
        let finding = self.health.step(limits, Reading { command, ..reading }, self.illegal)?;
        self.warned |= finding.severity() == Severity::Warning;
        Some(finding)
    }

    /// Other settings are due before this reading: with it a move begins.
    pub(super) fn is_due(&self, reading: &Reading) -> bool {
        self.pending.is_some()
            && self.last.is_some_and(|last| last.command != reading.command)
            && !self.axis.is_under_way()
    }

    /// Settings with which the axis begins anew have waited for long enough.
    pub(super) fn is_overdue(&self, now: u64) -> bool {
        let Some(pending) = &self.pending else { return false };
        let second = u64::from(self.asked.settings.ticks_per_second);
        let stands = !self.axis.is_under_way() && now.saturating_sub(self.changed) >= second;
        pending.breaks(&self.asked) && (stands || now.saturating_sub(self.fed) >= second)
    }

    /// Nothing was read yet.
    pub(super) fn is_fresh(&self) -> bool {
        self.last.is_none()
    }

    /// The settings that waited are in force. What the axis must be given again, if it begins anew.
    pub(super) fn renew(&mut self) -> Option<Reading> {
        let asked = self.pending.take()?;
        let old = core::mem::replace(&mut self.asked, asked);
        (self.health, self.limits, self.warned) = (Health::default(), None, false);
        if !asked.breaks(&old) {
            self.axis.set(asked.settings);
            return None;
        }
        self.before = Before { moves: self.moves(), small: self.small(), lost: self.lost() };
        (self.axis, self.since) = (Axis::new(asked.settings), None);
        // What was inferred and what was tapped are not of one time.
        self.last.take().filter(|_| !asked.inferred && !old.inferred)
    }

    /// Gives the axis a reading, taken so long before `now`. Unit: ticks
    pub(super) fn step(&mut self, reading: Reading, now: u64, ago: u32) {
        self.since.get_or_insert(now.saturating_sub(u64::from(ago)));
        self.fed = now;
        self.status = self.axis.step(reading);
        if self.status.moving {
            self.changed = now;
        }
    }

    /// Once the events of that reading are told, it belongs to the stop to come.
    pub(super) fn stepped(&mut self, reading: Reading) {
        self.last = Some(reading);
        self.capture.step(self.status.moving, reading);
    }

    /// A move and its rest are over: who wants its samples, and whether it is the last of several that did
    /// not settle, or the first that did again.
    pub(super) fn stopped(&mut self, outcome: Outcome, now: u64) -> Wanted {
        self.unsettled = match outcome {
            Outcome::Settled => 0,
            Outcome::Unsettled | Outcome::Interrupted => self.unsettled.saturating_add(1),
            // It says neither.
            Outcome::Untrusted => self.unsettled,
        };
        let asked = self.stops > 0;
        self.stops = self.stops.saturating_sub(1);
        let second = self.asked.settings.ticks_per_second;
        if outcome != Outcome::Settled && self.spare.take(now, second) {
            Wanted::Evidence
        } else if asked {
            Wanted::Asked
        } else {
            Wanted::Nobody
        }
    }

    /// The samples of that stop are told.
    pub(super) fn begin(&mut self) {
        self.capture.begin();
        // Where the command stood before the move.
        if let Some(last) = self.last {
            self.capture.step(true, last);
        }
    }

    /// The record as it is told: numbered through, its instants since the very first reading.
    pub(super) fn placed(&self, record: Record) -> Record {
        let since = self.since.unwrap_or(0);
        Record {
            number: record.number.wrapping_add(self.before.moves),
            start: record.start.saturating_add(since),
            command_end: record.command_end.saturating_add(since),
            ..record
        }
    }

    /// Since the very first reading. Unit: ticks
    pub(super) fn now(&self) -> u64 {
        self.axis.now().saturating_add(self.since.unwrap_or(0))
    }

    pub(super) fn moves(&self) -> u32 {
        self.axis.moves().wrapping_add(self.before.moves)
    }

    pub(super) fn small(&self) -> u32 {
        self.axis.small().wrapping_add(self.before.small)
    }

    pub(super) fn lost(&self) -> u32 {
        self.axis.lost().wrapping_add(self.before.lost)
    }

    /// What is accepted: answer to `Apply` and `Identify`.
    pub(super) fn accepted(&self, axis: u8) -> settings::Settings {
        let asked = self.pending.as_ref().unwrap_or(&self.asked);
        settings::Settings { pending: self.pending.is_some(), ..asked.told(axis) }
    }
}

/// How fast an input may count is not known here; how far a counter can be told apart is.
fn limits(asked: &Asked, raw: &Raw, period: u32) -> Limits {
    let bits = |register: Register| if matches!(register, Register::Half(_)) { 16 } else { 32 };
    let most = |register| most_change(bits(register), u32::MAX, 1);
    let feedback = most(raw.feedback);
    if asked.inferred {
        let limits = Limits::new(&asked.settings, period, (feedback, feedback));
        return Limits { scale: (1, 1), still: (limits.still.1, limits.still.1), ..limits };
    }
    Limits::new(&asked.settings, period, (most(raw.command), feedback))
}
