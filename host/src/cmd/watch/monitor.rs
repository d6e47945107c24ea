//! In: the bytes of one monitor. Out: its moves, once their settings are known, and notes; stored frames; the
//! commands that it is to be sent.

use std::collections::{BTreeMap, BTreeSet};
use std::time::Instant;

use stillpoint_core::Settings;
use stillpoint_core::wire::command::{Command, DumpSince};
use stillpoint_core::wire::counts::Counts;
use stillpoint_core::wire::drift::Kind;
use stillpoint_core::wire::header::Priority;

use super::clock::MonitorClock;
use super::held::HeldMoves;
use super::names::WatchedSource;
use super::queue::{Item, Queue};
use super::requests::Requests;
use super::settings::KnownSettings;
use crate::cmd::keep::Deletion;
use crate::command::CommandEncoder;
use crate::decode::{DecodedMove, Decoder, DeviceEvent, FramePlace, MissingFrames};
use crate::error::Error;
use crate::report::axis_context::AxisContext;
use crate::report::clock::Clock;
use crate::report::describe::{self, Typical};
use crate::report::explained;
use crate::report::move_report::MoveReport;
use crate::report::number;
use crate::report::stories::{DriftChange, Stories};
use crate::source::line::CHUNK;
use crate::store::log::Log;
use crate::store::time;

/// Kinds of moves that are told apart. An axis of a monitor has eight at a time.
const MOST_KINDS: usize = 4096;

/// One monitor that is watched.
pub(super) struct Monitor {
    source: WatchedSource,
    queue: Queue,
    decoder: Decoder,
    log: Option<Log>,
    /// What removes old days from the store.
    deletion: Option<Deletion>,
    /// Bytes were stored that are not committed yet.
    is_uncommitted: bool,
    settings: KnownSettings,
    held: HeldMoves,
    clock: MonitorClock,
    /// The present start, once the monitor has named itself on this line.
    boot: Option<u32>,
    /// By axis and number.
    kinds: BTreeMap<(u8, u32), Kind>,
    /// Kinds of which anything was heard.
    heard_kinds: BTreeSet<(u8, u32)>,
    stories: Stories,
    commands: CommandEncoder,
    requests: Requests,
    /// What the log wants from the line, as far as it was not requested for another reason.
    log_request: Option<DumpSince>,
}

impl Monitor {
    /// The store comes with what removes old days from it, if anything does.
    pub(super) fn new(
        source: WatchedSource,
        store: Option<(Log, Option<Deletion>)>,
        queue: Queue,
    ) -> Monitor {
        let (log, deletion) = store.unzip();
        Monitor {
            source,
            queue,
            decoder: Decoder::default(),
            log,
            deletion: deletion.flatten(),
            is_uncommitted: false,
            settings: KnownSettings::default(),
            held: HeldMoves::default(),
            clock: MonitorClock::default(),
            boot: None,
            kinds: BTreeMap::new(),
            heard_kinds: BTreeSet::new(),
            stories: Stories::default(),
            commands: CommandEncoder::default(),
            requests: Requests::default(),
            log_request: None,
        }
    }

    /// The name of the source.
    pub(super) fn place(&self) -> &str {
        &self.source.source
    }

    /// Adds a note about the monitor.
    pub(super) fn note(&self, text: &str) {
        self.queue.push(Item::Note(self.source.text(text)));
    }

    /// The line is open: the question with which it begins.
    pub(super) fn begin(&mut self) -> Vec<u8> {
        self.commands.encode(&Command::Identify)
    }

    /// The line is cut.
    pub(super) fn cut(&mut self) {
        self.decoder.cut();
        self.boot = None;
        self.requests.cut();
        self.log.iter_mut().for_each(Log::cut);
    }

    /// Stores and decodes the next bytes. Returns whether frames were among them.
    pub(super) fn receive(&mut self, bytes: &[u8], now: Instant) -> bool {
        self.store(bytes);
        let heard = |counts: &Counts| (counts.frames + counts.replayed, counts.replayed);
        let (frames, replayed) = heard(self.decoder.counts());
        let mut events = Vec::new();
        self.decoder.push_placed(bytes, &mut |place, event| events.push((place, event)));
        if self.decoder.counts().replayed > replayed {
            self.requests.log_comes(now);
        }
        events.into_iter().for_each(|(place, event)| self.report(place, event, now));
        // After what a status says of the answer before.
        self.want_stored(now);
        self.push_known();
        if self.log.is_some() {
            self.queue.push(Item::Stored);
        }
        heard(self.decoder.counts()).0 > frames
    }

    /// Stores the bytes.
    fn store(&mut self, bytes: &[u8]) {
        let Some(log) = &mut self.log else { return };
        log.push(bytes, time::now());
        // A full chunk means that more bytes are waiting. Otherwise this is all, and it is committed now.
        self.is_uncommitted = bytes.len() >= CHUNK || !log.commit();
        let mut notes = log.drain_notes();
        notes.extend(self.deletion.as_mut().and_then(|deletion| deletion.step(log)));
        notes.iter().for_each(|note| self.note(note));
    }

    /// An error if the store's file is no longer the one under its path.
    pub(super) fn check_store(&self) -> Result<(), Error> {
        self.log.as_ref().map_or(Ok(()), Log::check_place)
    }

    /// Wants the frames that the store lacks.
    fn want_stored(&mut self, now: Instant) {
        let requests = self.log.as_mut().map(Log::drain_requests);
        for since in requests.into_iter().flatten() {
            self.log_request = Some(since);
            self.requests.want_log(since, now);
        }
    }

    /// Nothing comes: what was to be committed with more is committed now.
    pub(super) fn commit(&mut self) {
        if std::mem::take(&mut self.is_uncommitted)
            && let Some(log) = &mut self.log
        {
            self.is_uncommitted = !log.commit();
        }
    }

    /// The bytes of the commands that are due now.
    pub(super) fn commands(&mut self, now: Instant) -> Vec<Vec<u8>> {
        let mut all = Vec::new();
        if let Some(since) = self.requests.due_log(now) {
            all.push(self.commands.encode(&Command::DumpSince(since)));
            self.requests.sent_log(since, self.commands.last(), now);
            if self.log_request.take() != Some(since) {
                self.log.iter_mut().for_each(Log::disturb);
            }
        }
        let (settings, boot) = (&self.settings, self.boot);
        let lacks = |decoded: &DecodedMove| {
            Some(decoded.place.boot) == boot && !settings.knows(decoded.axis, decoded.place.boot)
        };
        let question = self.requests.due_settings(boot.is_none() || self.held.any(lacks), now);
        all.extend(question.map(|question| self.commands.encode(&question)));
        all
    }

    /// The question whether the monitor is there. It is answered by a status, which costs no room in the monitor's log as the
    /// settings do.
    pub(super) fn question(&mut self) -> Vec<u8> {
        let beyond = DumpSince { boot: u32::MAX, priority: Priority::Move as u8, sequence: u32::MAX };
        let is_named = self.boot.is_some();
        self.commands.encode(&if is_named { Command::DumpSince(beyond) } else { Command::Identify })
    }

    fn report(&mut self, place: FramePlace, event: DeviceEvent, now: Instant) {
        self.report_drift(&event);
        match event {
            DeviceEvent::Move(decoded) => self.held.add(*decoded),
            DeviceEvent::Settings(settings) => self.settings.add(place, &settings),
            DeviceEvent::Hello { board, firmware, axes, ticks_per_second, clock } => {
                let is_new = self.clock.ticks_per_second == 0;
                self.boot = Some(place.boot);
                self.clock = MonitorClock { epoch: clock, ticks_per_second };
                if is_new {
                    let axes = number::count(axes, "axis");
                    self.note(&format!("monitor on {board}, firmware {firmware}, {axes}"));
                }
            }
            DeviceEvent::Gap(gap) => {
                self.note(&format!("{} samples or frames are missing: {:?}", gap.count, gap.cause));
            }
            DeviceEvent::Missing(missing) => self.want(&missing, now),
            DeviceEvent::Status(status) => self.requests.status(&status),
            DeviceEvent::Kind(kind) if self.kinds.len() < MOST_KINDS => {
                self.kinds.insert((kind.axis, kind.kind), kind);
            }
            event => self.report_in_words(&event),
        }
    }

    /// What is a note in any case.
    fn report_in_words(&self, event: &DeviceEvent) {
        let (axis, text) = match event {
            DeviceEvent::Finding(finding) => {
                return self.notify(describe::finding(&self.source.axis_name(finding.axis), finding));
            }
            DeviceEvent::Alarm(alarm) => {
                return self.notify(describe::alarm(&self.source.axis_name(alarm.axis), alarm));
            }
            DeviceEvent::Job(job) => (job.axis, format!(": job {} begins", job.number)),
            DeviceEvent::Explained(cause) => (cause.axis, format!(", {}", explained::text(cause))),
            _ => return,
        };
        self.notify(self.source.axis_name(axis) + &text);
    }

    fn notify(&self, text: String) {
        self.queue.push(Item::Note(text));
    }

    /// Reports the drift that begins or ends with an event, if one does.
    fn report_drift(&mut self, event: &DeviceEvent) {
        if kind_of(event).is_some_and(|key| !self.is_heard(key)) {
            return;
        }
        let clock = self.clock;
        let Some(change) = self.stories.push(event, &|tick, beside| clock.words(tick, beside)) else {
            return;
        };
        let DriftChange { axis, kind, begins, text, .. } = change;
        let scale = self.source.scale(axis);
        let typical = self.kinds.get(&(axis, kind)).zip(clock.rate());
        let typical = typical.map(|(typical, rate)| Typical::of(typical, scale.counts_per_unit, rate));
        let kind = describe::kind(kind, typical, &scale.unit);
        let text = match (clock.rate(), begins) {
            (Some(_), _) => text,
            // Without the tick rate no time of it can be stated.
            (None, true) => "a drift begins".to_owned(),
            (None, false) => "a drift ends".to_owned(),
        };
        self.notify(format!("{}, {kind}: {text}", self.source.axis_name(axis)));
    }

    /// Whether a kind is among those that are told apart.
    fn is_heard(&mut self, key: (u8, u32)) -> bool {
        if self.heard_kinds.len() < MOST_KINDS {
            self.heard_kinds.insert(key);
        }
        self.heard_kinds.contains(&key)
    }

    /// Missing frames of moves are wanted from the monitor's log.
    fn want(&mut self, missing: &MissingFrames, now: Instant) {
        let MissingFrames { boot, priority, first, count, restarted } = *missing;
        if restarted {
            self.note("the monitor has restarted");
        }
        if priority == Priority::Move && count > 0 {
            self.note(&format!(
                "{count} frames of moves are missing; requesting them from the monitor's log"
            ));
            self.requests.want_log(DumpSince { boot, priority: priority as u8, sequence: first }, now);
        }
    }

    /// Adds the moves whose settings are known.
    fn push_known(&mut self) {
        if self.held.is_empty() {
            return;
        }
        let (settings, decoder) = (&self.settings, &self.decoder);
        let known = self.held.drain_known(|decoded| {
            let place = decoded.place;
            settings.at(decoded.axis, place, |from, to| decoder.has_all(place.boot, from, to))
        });
        for (decoded, settings) in known {
            self.queue.push(Item::Move(Box::new(self.move_report(decoded, settings))));
        }
    }

    fn move_report(&self, decoded: DecodedMove, settings: Settings) -> MoveReport {
        let scale = self.source.scale(decoded.axis);
        let context = AxisContext {
            file: self.source.source.clone(),
            name: self.source.axis_name(decoded.axis),
            unit: scale.unit.clone(),
            window: f64::from(settings.window) / scale.counts_per_unit,
            counts_per_unit: scale.counts_per_unit,
            clock: Clock::new(settings.ticks_per_second, 0.0),
            settings,
        };
        let job = Some(decoded.job).filter(|job| *job > 0);
        let report = MoveReport { job, ..MoveReport::new(&context, &decoded.record, decoded.curve) };
        report.with_ringing(decoded.ringing)
    }

    /// Stores and prints the rest, with the counts of frames.
    pub(super) fn finish(mut self) -> Result<(), Error> {
        let mut last = Vec::new();
        self.decoder.finish(&mut |event| last.push(event));
        last.into_iter().for_each(|event| self.report(FramePlace::default(), event, Instant::now()));
        self.push_known();
        let stored = self.log.take().map(Log::finish).transpose();
        if let Ok(Some((_, stats))) = &stored {
            self.note(&stats.to_string());
            self.queue.push(Item::Stored);
        }
        let unknown = self.held.unknown();
        if unknown > 0 {
            let stored = if matches!(stored, Ok(Some(_))) { "; they are stored" } else { "" };
            let why = "the settings by which they were measured are not known";
            self.note(&format!("{unknown} moves are not printed, because {why}{stored}"));
        }
        let counts = self.decoder.counts();
        self.note(&format!(
            "{} frames, {} sent again, {} lost in transmission, {} corrupt parts of {} bytes",
            counts.frames, counts.replayed, counts.lost, counts.corrupt, counts.corrupt_bytes
        ));
        stored?;
        match self.place().strip_prefix("file:").filter(|_| counts.frames == 0) {
            Some(file) => Err(no_frames(file)),
            None => Ok(()),
        }
    }
}

/// The kind that an event is about, where there may be any number of them.
fn kind_of(event: &DeviceEvent) -> Option<(u8, u32)> {
    match event {
        DeviceEvent::Move(decoded) => Some((decoded.axis, decoded.kind)),
        DeviceEvent::Kind(kind) => Some((kind.axis, kind.kind)),
        DeviceEvent::Baseline(baseline) => Some((baseline.axis, baseline.kind)),
        DeviceEvent::Drift(drift) => Some((drift.axis, drift.kind)),
        _ => None,
    }
}

/// A file that is none of a monitor's. A line may be silent, so that without frames it is no error.
fn no_frames(file: &str) -> Error {
    Error::Unreached {
        place: file.to_owned(),
        wrong: "holds no frames of a monitor".to_owned(),
        remedy: "name a file with the bytes that a monitor sent; a recording of positions is read by \
            `stillpoint measure`, a store by `stillpoint moves`"
            .to_owned(),
    }
}
