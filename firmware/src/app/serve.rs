//! In: bytes of commands. Out: what they ask for, done or refused.

use embedded_storage::nor_flash::NorFlash;
use stillpoint_core::Invalid;
use stillpoint_core::alarm::Action;
use stillpoint_core::wire::command::{Acknowledge, Act, Apply, CaptureNext, Command, Declare, DumpSince};
use stillpoint_core::wire::drift::RestartReason;
use stillpoint_core::wire::header::Priority;
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::receive::Event;
use stillpoint_core::wire::settings::Settings;

use super::App;
use super::watched::Asked;

/// All delay lines are in use, or the board has none.
const NO_LINE: Invalid = Invalid { parameter: "inferred", rule: "no more often than the board can infer" };

impl<const AXES: usize, F: NorFlash, const LINES: usize, const LINE: usize, const KINDS: usize>
    App<AXES, F, LINES, LINE, KINDS>
{
    /// Takes bytes of commands as they come.
    pub fn hear(&mut self, bytes: &[u8]) {
        let mut left = bytes;
        while !left.is_empty() {
            let heard = match self.receiver.step(&mut left) {
                None => break,
                Some(Event::Frame(frame)) => {
                    self.last_command = Some(frame.header.sequence);
                    frame.read::<Command>().ok().map(|read| read.payload)
                }
                Some(Event::Echo(_)) => continue,
                Some(Event::Corrupt(_)) => None,
            };
            let done = heard.is_some_and(|command| self.obey(&command));
            if !done {
                self.refused = self.refused.saturating_add(1);
                self.tell_status(0);
            }
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
            Command::CaptureNext(CaptureNext { axis, stops }) => {
                let Some(watched) = self.watched.get_mut(usize::from(*axis)) else { return false };
                watched.stops = *stops;
                self.tell_status(usize::from(*axis));
            }
            Command::Acknowledge(Acknowledge { alarm }) => return self.act(*alarm, Action::Acknowledge),
            Command::Act(Act { alarm, action }) => return self.act(*alarm, (*action).into()),
            Command::Arrange(arrangement) => {
                let arranged = self.alarms.arrange(arrangement);
                self.tell(&Message::Arranged(arranged));
                self.tell_alarm(None);
                return arranged.refused.is_none();
            }
            Command::Declare(Declare { axis, kind }) => {
                return self.restart(usize::from(*axis), *kind, RestartReason::Declared);
            }
        }
        true
    }

    /// What a person does about an alarm.
    fn act(&mut self, alarm: u32, action: Action) -> bool {
        let step = self.alarms.act(alarm, action, self.now);
        self.tell_alarm(step);
        step.is_some()
    }

    fn apply(&mut self, apply: &Apply) -> bool {
        let number = usize::from(apply.axis);
        let checked = Asked::new(&apply.parameters).and_then(|asked| {
            let known = !asked.inferred || number < AXES && self.lines.reserve(number);
            if known { Ok(asked) } else { Err(NO_LINE) }
        });
        let Some(watched) = self.watched.get_mut(number) else { return false };
        if let Ok(asked) = checked {
            watched.pending = Some(asked).filter(|asked| *asked != watched.asked);
            let needed = watched.asked.inferred || asked.inferred;
            let fresh = watched.is_fresh();
            if !needed {
                self.lines.release(number);
            }
            if fresh {
                self.renew(number);
            }
        }
        let Some(watched) = self.watched.get(number) else { return false };
        let refused = Settings::new(apply.axis, &watched.asked.settings, checked.err()).refused;
        let answer = Settings { refused, ..watched.accepted(apply.axis) };
        self.tell(&Message::Settings(answer));
        let all = self.watched.iter().enumerate();
        let all = all.map(|(axis, watched)| {
            let Settings { axis, parameters, .. } = watched.accepted(axis as u8);
            Apply { axis, parameters }
        });
        // Applied all the same if the flash refuses; the next start then has the old ones.
        checked.is_ok() && self.store.remember(all).is_ok()
    }

    /// Says who this is, what is accepted for each axis, and which alarms are not normal.
    pub(super) fn identify(&mut self) {
        self.hello();
        for number in 0..AXES {
            let Some(settings) = self.watched.get(number).map(|watched| watched.accepted(number as u8))
            else {
                continue;
            };
            self.tell(&Message::Settings(settings));
        }
        for alarm in self.alarms.open() {
            self.link.put(&Message::Alarm(alarm));
        }
    }

    /// Frames of the log, as long as the line has room for them.
    pub(super) fn replay_some(&mut self) {
        while self.link.has_room(Priority::Move, 4) {
            let Some(mut cursor) = self.replay.take() else { return };
            let link = &mut self.link;
            if !self.store.read(&mut cursor, |frame| {
                link.again(frame);
            }) {
                // The dump is complete: the status says so.
                (0..AXES).for_each(|number| self.tell_status(number));
                return;
            }
            self.replay = Some(cursor);
        }
    }
}
