//! In: figures about one axis, what people do, time. Out: the steps in the lives of its alarms, the slow way.
//!
//! Written apart from the monitor: every alarm looks at its last figure at every tick, and what logic does is
//! tried one alarm after another until nothing more happens.

use stillpoint_core::alarm::{Event, State};
use stillpoint_core::alarm::{Parameters, Priority};
use stillpoint_core::wire::alarm::{AlarmState, Arrangement, Subject};

use crate::alarm::Twin;

/// Number of the alarm, subject, state by its wire name, figure.
pub type Told = (u32, Subject, AlarmState, i64);

const SHIFT: u64 = 8 * 3600;

/// One alarm.
#[derive(Clone, Debug)]
struct Life {
    subject: Subject,
    parameters: Parameters,
    twin: Twin,
    alarm: u32,
    figure: Option<i64>,
}

/// The alarms of a monitor with one axis.
#[derive(Clone, Debug)]
pub struct Alarms {
    lives: Vec<Life>,
    numbers: u32,
}

/// A figure is whole and its limit lies half below the first that is abnormal: all of it twice.
fn life(subject: Subject, limit: i64, deadband: i64, seconds: [u64; 3], second: u64) -> Life {
    let [off_delay, re_alarm_time, longest_shelving] = seconds.map(|seconds| seconds * second);
    let parameters =
        Parameters { limit, deadband, off_delay, re_alarm_time, longest_shelving, ..Parameters::default() };
    Life { subject, parameters, twin: Twin::new(parameters), alarm: 0, figure: None }
}

impl Alarms {
    /// As a monitor begins. Unit of `second`: ticks
    pub fn new(second: u64) -> Alarms {
        let lives = vec![
            life(Subject::Signal, -1, 0, [0, SHIFT, SHIFT], second),
            life(Subject::Unsettled, 5, 4, [60, SHIFT, SHIFT], second),
            life(Subject::FollowingError, 1, 0, [60, SHIFT, SHIFT], second),
            life(Subject::Drift, 511, 254, [0, 0, 21 * SHIFT], second),
            life(Subject::Gap, 1, 0, [60, 0, SHIFT], second),
        ];
        Alarms { lives, numbers: 0 }
    }

    fn tell(&mut self, place: usize, before: State, named: bool) -> Told {
        let life = &mut self.lives[place];
        if before == State::Normal && !named {
            self.numbers += 1;
            life.alarm = self.numbers;
        }
        let name = format!("{:?}", life.twin.state);
        let state = (0..State::ALL.len() as u8)
            .map(|index| postcard::from_bytes::<AlarmState>(&[index]).expect("a state"))
            .find(|state| format!("{state:?}") == name);
        (life.alarm, life.subject, state.expect("the same names"), life.figure.unwrap_or_default())
    }

    /// A figure; and what follows. Unit of `now`: ticks
    pub fn figure(&mut self, subject: Subject, figure: i64, now: u64) -> Vec<Told> {
        let place = self.lives.iter().position(|life| life.subject == subject).expect("a subject");
        let life = &mut self.lives[place];
        let before = life.twin.state;
        life.figure = Some(figure);
        let entered = life.twin.number(2 * figure, now).is_some();
        let first = entered.then(|| self.tell(place, before, false));
        first.into_iter().chain(self.time(now)).collect()
    }

    /// Time passes. Unit: ticks
    pub fn time(&mut self, now: u64) -> Vec<Told> {
        let mut told = vec![];
        while let Some(step) = self.one(now) {
            told.push(step);
        }
        told
    }

    /// The first thing that logic or the clock brings.
    fn one(&mut self, now: u64) -> Option<Told> {
        let fault = self.lives.iter().any(|life| life.subject == Subject::Signal && life.twin.abnormal);
        for place in 0..self.lives.len() {
            let life = &mut self.lives[place];
            let before = life.twin.state;
            let logic = fault && [Subject::Unsettled, Subject::Drift].contains(&life.subject);
            let by_hand = matches!(before, State::Shelved | State::OutOfService);
            let suppressed = before == State::SuppressedByDesign;
            let entered = match (logic, suppressed) {
                (true, false) if !by_hand => life.twin.ask(Event::SuppressByDesign, 0, now),
                (false, true) => life.twin.ask(Event::Unsuppress, 0, now),
                _ => match life.figure {
                    Some(figure) => life.twin.number(2 * figure, now),
                    None => life.twin.time(now),
                },
            };
            if entered.is_some() {
                return Some(self.tell(place, before, false));
            }
        }
        None
    }

    /// What a person does; none if it is refused. Units of `time` and `now`: ticks
    pub fn ask(&mut self, alarm: u32, event: Event, time: u64, now: u64) -> Option<Vec<Told>> {
        let place = self.lives.iter().position(|life| life.alarm == alarm && alarm > 0)?;
        let before = self.lives[place].twin.state;
        self.lives[place].twin.ask(event, time, now)?;
        let named = matches!(event, Event::Shelve | Event::OutOfService);
        let first = self.tell(place, before, named);
        Some([first].into_iter().chain(self.time(now)).collect())
    }

    /// How one is to behave; none if it is refused. Unit of `now`: ticks
    pub fn arrange(&mut self, asked: &Arrangement, now: u64) -> Option<Vec<Told>> {
        let times = [asked.on_delay, asked.off_delay, asked.re_alarm_time, asked.longest_shelving];
        if asked.axis != 0 || times.iter().any(|time| *time > 1 << 48) {
            return None;
        }
        let life = self.lives.iter_mut().find(|life| life.subject == asked.subject)?;
        let [on_delay, off_delay, re_alarm_time, longest_shelving] = times;
        let (latching, priority) = (asked.latching, Priority::default());
        let parameters = Parameters {
            on_delay,
            off_delay,
            re_alarm_time,
            longest_shelving,
            latching,
            priority,
            ..life.parameters
        };
        life.twin.arrange(parameters);
        Some(self.time(now))
    }
}
