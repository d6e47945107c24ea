//! In: counters at every tick, bytes of commands. Out: bytes of frames, moves stored on flash, the state of a lamp.
//!
//! The whole monitor except its board. The main loop of a board calls [`App::sample`] at every tick, [`App::receive`]
//! when bytes have come, [`App::idle`] while it waits, and [`App::transmit`] when the line takes bytes.
//!
//! A board chooses `AXES`; `LINE`, the samples of each axis's delay line, 0 on a board that infers no command ends;
//! and `KINDS`, how many kinds of moves are monitored on each axis at a time.

use embedded_storage::nor_flash::NorFlash;
use heapless::Vec;
use stillpoint_core::wire::drift::RestartReason;
use stillpoint_core::wire::header::Direction;
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::receive::Receiver;
use stillpoint_core::wire::status::{Hello, Reset};
use stillpoint_core::{Event, Reading, Settings};

use crate::lamp::{Conditions, Lamp};
use crate::log::Error;
use crate::sampler::{Raw, Sampler};
use crate::store::Store;

use channel::AxisChannel;
use config::AxisConfig;
use publish::Publisher;
use ringing::RingingMonitor;

mod clock;
mod config;
mod alarms;
mod limits;
mod kinds;
mod job;
mod ringing;
mod channel;
mod output;
mod publish;
mod commands;

/// What a board knows of itself.
#[derive(Clone, Copy, Debug)]
pub struct Identity {
    /// Number of the device, unique.
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
pub struct App<const AXES: usize, F, const LINE: usize = 0, const KINDS: usize = 8> {
    identity: Identity,
    sampler: Sampler<AXES>,
    /// One per axis.
    channels: Vec<AxisChannel<LINE, KINDS>, AXES>,
    publisher: Publisher<AXES, F>,
    ringing: RingingMonitor,
    receiver: Receiver,
    /// UTC at the first reading, once a host has set the clock. Unit: µs since 1970
    epoch: Option<i64>,
}

impl<const AXES: usize, F: NorFlash, const LINE: usize, const KINDS: usize> App<AXES, F, LINE, KINDS> {
    /// Opens the flash and starts. An axis has the settings from before the restart, or else its `settings`.
    pub fn new(identity: Identity, settings: [Settings; AXES], flash: F) -> Result<Self, Error> {
        let store = Store::open(flash)?;
        let configs = Self::configs(settings, &store);
        let mut app = App::without_axes(identity, &configs, store);
        app.start(&configs);
        Ok(app)
    }

    /// Starts on a flash that is open already, and runs `main` on the monitor.
    ///
    /// For a board: the monitor is too large for its stack to be moved, so it is built where it stays.
    #[inline(never)]
    pub fn run<T>(
        identity: Identity,
        settings: [Settings; AXES],
        store: Store<F>,
        main: impl FnOnce(&mut Self) -> T,
    ) -> T {
        let configs = Self::configs(settings, &store);
        let mut app = App::without_axes(identity, &configs, store);
        app.start(&configs);
        main(&mut app)
    }

    /// Configuration of each axis at the start: the saved one, or else the settings of the board.
    fn configs(settings: [Settings; AXES], store: &Store<F>) -> [AxisConfig; AXES] {
        let mut axis = 0;
        settings.map(|settings| {
            let saved = store.saved_settings(axis);
            axis += 1;
            let saved = saved.and_then(|saved| AxisChannel::<LINE, KINDS>::check_config(&saved).ok());
            saved.unwrap_or(AxisConfig::tapped(settings))
        })
    }

    fn without_axes(identity: Identity, configs: &[AxisConfig; AXES], store: Store<F>) -> Self {
        let rate = configs.first().map_or(1, |config| config.settings.ticks_per_second);
        App {
            identity,
            sampler: Sampler::new(identity.period),
            channels: Vec::new(),
            publisher: Publisher::new(store, rate),
            ringing: RingingMonitor::default(),
            receiver: Receiver::new(Direction::FromHost),
            epoch: None,
        }
    }

    /// Adds the axes one by one with their limits, and publishes device and settings.
    #[inline(never)]
    fn start(&mut self, configs: &[AxisConfig; AXES]) {
        for (config, axis) in configs.iter().zip(0..) {
            // There is room for all.
            _ = self.channels.push(AxisChannel::new(axis, *config, self.identity.period));
            self.publisher.set_limits(axis, &config.limits);
        }
        self.identify();
    }

    /// Processes the counters latched at `tick`.
    ///
    /// Not inlined, like the work on each axis: in the frame of a main loop both would lack registers.
    #[inline(never)]
    pub fn sample(&mut self, tick: u32, raw: &[Raw; AXES]) {
        let sampled = self.sampler.step(tick, raw);
        self.publisher.clock.advance(tick);
        self.publisher.check_losses(self.sampler.missed());
        self.publisher.check_alarms();
        for (channel, (raw, reading)) in self.channels.iter_mut().zip(raw.iter().zip(sampled.readings)) {
            if sampled.missed > 0 {
                let gap = channel.gap(sampled.missed);
                self.publisher.publish(&Message::Gap(gap));
            }
            let reading = channel.unwrap(reading);
            step(channel, &mut self.publisher, raw, reading);
        }
    }

    /// Judges the move that has waited longest, if any does; else looks for ringing in a stop: BOARDS.md says how many
    /// instructions that takes at most, and a frame.
    ///
    /// For a main loop with no tick to serve; [`App::transmit`] does the same.
    pub fn idle(&mut self) {
        let waiting = self.channels.iter_mut().filter(|channel| channel.has_unjudged());
        let Some(channel) = waiting.min_by_key(|channel| channel.unjudged_since()) else {
            return self.look_for_ringing();
        };
        if let Some(judgement) = channel.judge() {
            self.publisher.judgement(&judgement);
        }
    }

    /// Whether ringing is looked for, as it is by default. Without it no move announces a message about its ringing.
    pub fn set_finds_ringing(&mut self, finds: bool) {
        self.channels.iter_mut().for_each(|channel| channel.set_finds_ringing(finds));
    }

    /// Whether [`App::idle`] has something to do.
    pub fn is_busy(&self) -> bool {
        let waits =
            |channel: &AxisChannel<LINE, KINDS>| channel.has_unjudged() || channel.unfitted().is_some();
        !self.ringing.is_idle() || self.channels.iter().any(waits)
    }

    /// Goes on with the stop under way, or begins with one that waits.
    fn look_for_ringing(&mut self) {
        if !self.ringing.is_idle() {
            if let Some(ringing) = self.ringing.step() {
                self.publisher.publish(&Message::Ringing(ringing));
            }
            return;
        }
        let since = |channel: &AxisChannel<LINE, KINDS>| channel.unfitted().map(|stop| stop.since);
        let waiting = self.channels.iter_mut().filter(|channel| since(channel).is_some());
        let Some(channel) = waiting.min_by_key(|channel| since(channel)) else { return };
        let (axis, rate) = (channel.number(), channel.ticks_per_second());
        if let Some((stop, capture)) = channel.fit_stop() {
            self.ringing.start((axis, stop.number), capture, rate);
        }
    }

    /// Fills `out` with bytes of frames; returns their number.
    pub fn transmit(&mut self, out: &mut [u8]) -> usize {
        self.idle();
        if self.publisher.output.replay() {
            self.channels.iter().for_each(|channel| self.publisher.status(channel.status()));
        }
        self.publisher.output.transmit(out)
    }

    /// No more samples come: the last rests end here. For recordings; a board never calls it.
    pub fn finish(&mut self) {
        for channel in &mut self.channels {
            channel.finish();
            publish_events(channel, &mut self.publisher);
        }
        while self.is_busy() {
            self.idle();
        }
    }

    /// What lamp, buzzer and contact show.
    pub fn lamp(&self) -> Lamp {
        let near_limit = self.channels.iter().any(AxisChannel::is_near_limit);
        Lamp::new(&Conditions { near_limit, ..self.publisher.alarms.conditions() })
    }

    /// Whether the lamp is lit now.
    pub fn is_lit(&self) -> bool {
        self.lamp().is_lit(self.publisher.clock.now(), self.ticks_per_second())
    }

    /// Illegal transitions of a feedback since the start, where its tap counts them.
    pub fn set_illegal_transitions(&mut self, axis: usize, count: u32) {
        if let Some(channel) = self.channels.get_mut(axis) {
            channel.set_illegal_transitions(count);
        }
    }

    /// Publishes the state of an axis and the device.
    pub fn publish_status(&mut self, axis: usize) {
        if let Some(channel) = self.channels.get(axis) {
            self.publisher.status(channel.status());
        }
    }

    /// Publishes the device, and the accepted settings of each axis.
    fn identify(&mut self) {
        self.publish_hello();
        for channel in &self.channels {
            self.publisher.publish(&Message::Settings(channel.settings(None)));
        }
    }

    fn publish_hello(&mut self) {
        let Identity { device, board, reset, .. } = self.identity;
        let (firmware, oldest) = (env!("CARGO_PKG_VERSION"), stillpoint_core::wire::OLDEST);
        let (axes, ticks_per_second, clock) = (AXES as u8, self.ticks_per_second(), self.epoch);
        let hello = Hello { device, board, firmware, oldest, axes, ticks_per_second, reset, clock };
        self.publisher.publish(&Message::Hello(hello));
    }

    fn ticks_per_second(&self) -> u32 {
        self.channels.first().map_or(1, |channel| channel.ticks_per_second())
    }
}

/// One reading of one axis, from the check of its signals to the events.
#[inline(never)]
fn step<const AXES: usize, F: NorFlash, const LINE: usize, const KINDS: usize>(
    channel: &mut AxisChannel<LINE, KINDS>,
    publisher: &mut Publisher<AXES, F>,
    raw: &Raw,
    reading: Reading,
) {
    if channel.is_overdue(publisher.clock.now()) {
        reconfigure_and_publish(channel, publisher);
    }
    if let Some(finding) = channel.check(raw, reading) {
        publisher.finding(channel.number(), &finding);
    }
    let Some(reading) = channel.infer(reading) else { return };
    if channel.is_due(reading) {
        let was_inferred = channel.is_inferred();
        reconfigure_and_publish(channel, publisher);
        // This reading belongs to the source before; the next one comes from the other.
        if was_inferred || channel.is_inferred() {
            return;
        }
    }
    let stepped = channel.step(reading, &publisher.clock);
    if let Some(number) = stepped.overwritten {
        publisher.not_evaluated(channel.number(), number);
    }
    if stepped.event {
        publish_events(channel, publisher);
    }
    channel.record(reading);
}

fn publish_events<const AXES: usize, F: NorFlash, const LINE: usize, const KINDS: usize>(
    channel: &mut AxisChannel<LINE, KINDS>,
    publisher: &mut Publisher<AXES, F>,
) {
    while let Some(event) = channel.event() {
        match event {
            Event::Move(record) => {
                let stop = channel.stop(record, publisher.clock.now());
                publisher.stop(channel, &stop);
                channel.restart_capture();
            }
            Event::FollowingError(lasts) => {
                publisher.status(channel.status());
                publisher.evaluate(&channel.following_error(lasts));
            }
        }
    }
}

/// Closes the last rest by the old configuration, and applies the pending one.
fn reconfigure<const AXES: usize, F: NorFlash, const LINE: usize, const KINDS: usize>(
    channel: &mut AxisChannel<LINE, KINDS>,
    publisher: &mut Publisher<AXES, F>,
) {
    channel.finish();
    publish_events(channel, publisher);
    channel.apply_pending(&publisher.clock);
    publisher.findings_cleared(channel.number());
    publisher.set_limits(channel.number(), channel.stop_limits());
}

/// Reconfigures while samples come: publishes the new settings, and discards what was learnt by the old ones.
fn reconfigure_and_publish<const AXES: usize, F: NorFlash, const LINE: usize, const KINDS: usize>(
    channel: &mut AxisChannel<LINE, KINDS>,
    publisher: &mut Publisher<AXES, F>,
) {
    let only_limits = channel.only_limits_are_pending();
    reconfigure(channel, publisher);
    publisher.publish(&Message::Settings(channel.settings(None)));
    if only_limits {
        return;
    }
    if let Some(restarted) = channel.restart_kinds(0, RestartReason::Settings, publisher.clock.now()) {
        publisher.restarted(&restarted);
    }
}
