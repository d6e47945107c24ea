//! In: bytes of commands. Out: the commands executed, or refused and counted.

use embedded_storage::nor_flash::NorFlash;
use stillpoint_core::alarm::Action;
use stillpoint_core::wire::alarm::Arrangement;
use stillpoint_core::wire::command::{
    Acknowledge, Act, Apply, CaptureNext, Command, Declare, DumpSince, Job,
};
use stillpoint_core::wire::drift::RestartReason;
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::receive::Event;

use super::channel::AxisChannel;
use super::{App, reconfigure};

impl<const AXES: usize, F: NorFlash, const LINE: usize, const KINDS: usize> App<AXES, F, LINE, KINDS> {
    /// Receives bytes of commands in any pieces.
    pub fn receive(&mut self, bytes: &[u8]) {
        let mut remaining = bytes;
        while !remaining.is_empty() {
            let command = match self.receiver.step(&mut remaining) {
                None => break,
                Some(Event::Frame(frame)) => {
                    self.publisher.last_command = Some(frame.header.sequence);
                    frame.read::<Command>().ok().map(|read| read.payload)
                }
                Some(Event::Echo(_)) => continue,
                Some(Event::Corrupt(_)) => None,
            };
            if !command.is_some_and(|command| self.execute(&command)) {
                let refused = &mut self.publisher.refused_commands;
                *refused = refused.saturating_add(1);
                self.publish_status(0);
            }
        }
    }

    /// Whether the command was accepted.
    fn execute(&mut self, command: &Command) -> bool {
        match command {
            Command::Identify => {
                self.identify();
                self.publisher.open_alarms();
            }
            Command::Apply(apply) => return self.apply(apply),
            Command::DumpSince(DumpSince { boot, sequence, .. }) => {
                self.publisher.output.start_replay(*boot, *sequence);
            }
            Command::SetClock(clock) => {
                let elapsed = self.publisher.clock.microseconds(self.ticks_per_second());
                self.epoch = Some(clock.now.saturating_sub(elapsed));
                self.publish_hello();
            }
            Command::CaptureNext(CaptureNext { axis, stops }) => {
                let axis = usize::from(*axis);
                let Some(channel) = self.channels.get_mut(axis) else { return false };
                channel.request_capture(*stops);
                self.publish_status(axis);
            }
            Command::Acknowledge(Acknowledge { alarm }) => return self.act(*alarm, Action::Acknowledge),
            Command::Act(Act { alarm, action }) => return self.act(*alarm, (*action).into()),
            Command::Arrange(arrangement) => return self.arrange(arrangement),
            Command::Declare(declare) => return self.declare(declare),
            Command::Job(job) => return self.set_job(job),
        }
        true
    }

    /// Puts settings in force with the next move, or at once before the first reading, and saves them.
    ///
    /// If the flash refuses them they are in force all the same, but the next start has the old ones.
    fn apply(&mut self, apply: &Apply) -> bool {
        let Some(channel) = self.channels.get_mut(usize::from(apply.axis)) else { return false };
        let checked = AxisChannel::<LINE, KINDS>::check_config(&apply.parameters);
        if let Ok(config) = checked {
            channel.set_pending(config);
            if channel.is_fresh() {
                reconfigure(channel, &mut self.publisher);
            }
        }
        let answer = channel.settings(checked.err());
        self.publisher.publish(&Message::Settings(answer));
        let accepted = self.channels.iter().map(|channel| channel.settings(None));
        let accepted =
            accepted.map(|settings| Apply { axis: settings.axis, parameters: settings.parameters });
        checked.is_ok() && self.publisher.output.store.save_settings(accepted).is_ok()
    }

    /// A person's action on an alarm.
    fn act(&mut self, alarm: u32, action: Action) -> bool {
        let change = self.publisher.alarms.act(alarm, action, self.publisher.clock.now());
        self.publisher.alarm_changes(change);
        change.is_some()
    }

    fn arrange(&mut self, arrangement: &Arrangement) -> bool {
        let arranged = self.publisher.alarms.arrange(arrangement);
        self.publisher.publish(&Message::Arranged(arranged));
        self.publisher.alarm_changes(None);
        arranged.refused.is_none()
    }

    /// What runs now is good: the monitoring of a kind, with 0 of all, begins anew, or its baseline grows.
    fn declare(&mut self, declare: &Declare) -> bool {
        let Declare { axis, kind, add } = *declare;
        let Some(channel) = self.channels.get_mut(usize::from(axis)) else { return false };
        let now = self.publisher.clock.now();
        let restarted = if add {
            channel.teach_kinds(kind, now)
        } else {
            channel.restart_kinds(kind, RestartReason::Declared, now)
        };
        restarted.inspect(|restarted| self.publisher.restarted(restarted)).is_some()
    }

    /// Sets the product that an axis, or each axis, works on.
    fn set_job(&mut self, job: &Job) -> bool {
        let now = self.publisher.clock.now();
        let is_meant = |axis| job.axis == Job::ALL_AXES || job.axis == axis;
        let mut any = false;
        for channel in self.channels.iter_mut().filter(|channel| is_meant(channel.number())) {
            let message = channel.set_job(job.number, now);
            self.publisher.publish(&Message::Job(message));
            any = true;
        }
        any
    }
}
