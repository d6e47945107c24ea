//! In: figures about the axes, what people do about alarms, time. Out: steps in the lives of alarms.
//!
//! The life cycle is the core's, what is watched is in [`rules`]. An alarm gets its number as it leaves Normal,
//! and keeps it until it is Normal again; one that a person sets aside by its number keeps that.
//!
//! Logic, by name *signal fault*: while the condition of Signal is abnormal, Unsettled and Drift of that axis mean
//! nothing and are suppressed by design, unless a person has set them aside. Their figures are followed all the
//! same, so that what stands when the signals are right again comes back by itself.

use stillpoint_core::Invalid;
use stillpoint_core::alarm::{
    Action, AlarmInstance, Event, NEVER, Parameters, Priority, Settings, State, Step,
};
use stillpoint_core::wire::alarm::{Alarm, AlarmEvent, Arranged, Arrangement, Subject};

use crate::lamp::Wrong;
use rules::{OF_AXIS, OF_DEVICE, Rule};

mod rules;
#[cfg(test)]
mod tests;

/// No such alarm is watched.
const NO_ALARM: Invalid =
    Invalid { parameter: "axis", rule: "one of the monitor's, or 0 for its own alarms" };

/// One alarm: how it stands, what is asked of it, and its last step.
#[derive(Clone, Debug)]
struct Life {
    axis: u8,
    subject: Subject,
    event: AlarmEvent,
    /// Its number; 0 before the first.
    alarm: u32,
    /// Number and kind of the move behind it.
    behind: (u32, u32),
    /// Unit: ticks
    at: u64,
    point: AlarmInstance,
    settings: Settings,
}

impl Life {
    fn new(rule: &Rule, axis: usize, ticks_per_second: u32) -> Life {
        Life {
            axis: axis as u8,
            subject: rule.subject,
            event: AlarmEvent::Unknown,
            alarm: 0,
            behind: (0, 0),
            at: 0,
            point: AlarmInstance::default(),
            settings: rule.settings(ticks_per_second),
        }
    }

    /// Takes a figure, and the number and kind of the move behind it. Unit of `now`: ticks
    fn step(&mut self, figure: i64, behind: (u32, u32), now: u64) -> Option<Step> {
        let figure = rules::doubled(figure);
        if !self.point.is_abnormal() && self.settings.beyond(figure) {
            self.behind = behind;
        }
        self.point.step(&self.settings, figure, now)
    }

    /// What logic or the clock brings; `fault` of the signals. Unit of `now`: ticks
    fn next(&mut self, fault: bool, now: u64) -> Option<Step> {
        let fault = fault && matches!(self.subject, Subject::Unsettled | Subject::Drift);
        let action = match self.point.state() {
            State::SuppressedByDesign if !fault => Action::Unsuppress,
            state if fault && !state.is_set_aside() => Action::SuppressByDesign,
            _ => return self.point.hold(&self.settings, now),
        };
        self.point.act(&self.settings, action, now).done()
    }

    /// The step that has just been made, with the number of the alarm.
    fn tell(&mut self, step: Step, numbers: &mut u32) -> Alarm {
        let named = matches!(step.event, Event::Shelve | Event::OutOfService);
        if step.from == State::Normal && !named {
            *numbers = numbers.wrapping_add(1);
            self.alarm = *numbers;
        }
        (self.event, self.at) = (step.event.into(), step.at);
        self.told()
    }

    /// The last step; the figure is the latest.
    fn told(&self) -> Alarm {
        let Life { axis, subject, event, alarm, behind: (number, kind), at, .. } = *self;
        let (value, limit) = rules::told(self.point.value(), self.settings.limit);
        let (priority, category) = (self.settings.priority.into(), self.settings.category.into());
        let state = self.point.state().into();
        Alarm { alarm, axis, subject, state, at, number, value, limit, event, priority, category, kind }
    }

    fn arrangement(&self) -> Arrangement {
        let Life { axis, subject, .. } = *self;
        let Parameters { latching, on_delay, off_delay, re_alarm_time, longest_shelving, priority, .. } =
            *self.settings;
        let priority = priority.into();
        Arrangement {
            axis,
            subject,
            latching,
            on_delay,
            off_delay,
            re_alarm_time,
            longest_shelving,
            priority,
        }
    }
}

/// All alarms of the device.
#[derive(Clone, Debug)]
pub(super) struct Alarms<const AXES: usize> {
    lives: [[Life; OF_AXIS.len()]; AXES],
    device: [Life; 1],
    /// Numbers given so far.
    numbers: u32,
    /// When the next step may come by itself. Unit: ticks
    due: u64,
    /// Looked up once no step is left to make, since the lamp asks at every sample.
    wrong: Wrong,
}

impl<const AXES: usize> Alarms<AXES> {
    pub(super) fn new(ticks_per_second: u32) -> Alarms<AXES> {
        let lives = |axis| OF_AXIS.each_ref().map(|rule| Life::new(rule, axis, ticks_per_second));
        Alarms {
            lives: core::array::from_fn(lives),
            device: [Life::new(&OF_DEVICE, 0, ticks_per_second)],
            numbers: 0,
            due: NEVER,
            wrong: Wrong::default(),
        }
    }

    fn all(&self) -> impl Iterator<Item = &Life> {
        self.lives.iter().flatten().chain(&self.device)
    }

    /// The one that fits; what is done to it may bring another step of its own.
    fn find(&mut self, fits: impl Fn(&Life) -> bool) -> Option<(&mut Life, &mut u32)> {
        self.due = 0;
        let mut all = self.lives.iter_mut().flatten().chain(&mut self.device);
        Some((all.find(|life| fits(life))?, &mut self.numbers))
    }

    /// Takes a figure, and the number and kind of the move behind it. Unit of `now`: ticks
    pub(super) fn step(
        &mut self,
        (axis, subject): (usize, Subject),
        figure: i64,
        behind: (u32, u32),
        now: u64,
    ) -> Option<Alarm> {
        let (life, numbers) = self.find(|life| (usize::from(life.axis), life.subject) == (axis, subject))?;
        let step = life.step(figure, behind, now)?;
        Some(life.tell(step, numbers))
    }

    /// What a person does about the alarm of this number; nothing if it has no meaning. Unit of `now`: ticks
    pub(super) fn act(&mut self, alarm: u32, action: Action, now: u64) -> Option<Alarm> {
        let (life, numbers) = self.find(|life| life.alarm == alarm && alarm != 0)?;
        let step = life.point.act(&life.settings, action, now).done()?;
        Some(life.tell(step, numbers))
    }

    /// How an alarm is to behave from now on; what it was set to holds if that can't be.
    pub(super) fn arrange(&mut self, asked: &Arrangement) -> Arranged {
        let found = self.find(|life| (life.axis, life.subject) == (asked.axis, asked.subject));
        let Some((life, _)) = found else { return Arranged::new(*asked, Some(NO_ALARM)) };
        let Arrangement { latching, on_delay, off_delay, re_alarm_time, longest_shelving, .. } = *asked;
        let priority = asked.priority.into();
        let settings = Settings::new(Parameters {
            latching,
            on_delay,
            off_delay,
            re_alarm_time,
            longest_shelving,
            priority,
            ..*life.settings
        });
        let refused = settings.map(|settings| life.settings = settings).err();
        Arranged::new(life.arrangement(), refused)
    }

    /// Whether [`Alarms::next`] is to be asked. Unit: ticks
    pub(super) fn is_due(&self, now: u64) -> bool {
        now >= self.due
    }

    /// The next step that logic or the clock brings; once there is none, it is known when to ask again. Unit: ticks
    pub(super) fn next(&mut self, now: u64) -> Option<Alarm> {
        let Alarms { lives, device, numbers, due, .. } = self;
        *due = NEVER;
        let axes = lives.iter_mut().map(|lives| &mut lives[..]).chain([&mut device[..]]);
        for lives in axes {
            let mut signals = lives.iter().filter(|life| life.subject == Subject::Signal);
            let fault = signals.any(|life| life.point.is_abnormal());
            for life in lives {
                if let Some(step) = life.next(fault, now) {
                    // There may be more.
                    *due = 0;
                    return Some(life.tell(step, numbers));
                }
                *due = life.point.due(&life.settings).min(*due);
            }
        }
        self.wrong = self.look();
        None
    }

    /// Those that are not normal.
    pub(super) fn open(&self) -> impl Iterator<Item = Alarm> + '_ {
        self.all().filter(|life| life.point.state() != State::Normal).map(Life::told)
    }

    /// For the lamp, as of the last time that [`Alarms::next`] had no step to make.
    pub(super) fn wrong(&self) -> Wrong {
        self.wrong
    }

    fn look(&self) -> Wrong {
        let mut wrong = Wrong::default();
        for life in self.all() {
            match life.point.state() {
                State::Unacknowledged if life.settings.priority > Priority::Low => {
                    wrong.unacknowledged = true;
                }
                State::Unacknowledged
                | State::ReturnedToNormalUnacknowledged
                | State::LatchedUnacknowledged => wrong.unseen = true,
                State::Acknowledged | State::LatchedAcknowledged => wrong.acknowledged = true,
                // Set aside is set aside here, too.
                _ => (),
            }
        }
        wrong
    }
}
