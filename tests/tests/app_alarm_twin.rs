//! The alarms of a whole monitor do what a slow and obvious twin does, whatever happens to the axis and whatever
//! commands people send: every step, in its order, at its tick; every command done or refused.

use proptest::prelude::*;
use stillpoint_core::alarm::Event;
use stillpoint_core::share::Share;
use stillpoint_core::wire::alarm::{Action, AlarmPriority, AlarmState, Arrangement, Subject};
use stillpoint_core::wire::command::{Acknowledge, Act, Apply, Command};
use stillpoint_core::wire::finding::Severity;
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::record::{Move, Outcome};
use stillpoint_core::wire::settings::{self, Limits};
use stillpoint_core::{Parameters, Reading};
use stillpoint_tests::alarms::{Alarms, Step};
use stillpoint_tests::monitor::{Monitor, Received};
use stillpoint_tests::rounds::cases;

/// Unit: ticks
const MILLISECOND: u32 = 1000;
const SECOND: u64 = 1_000_000;
const WINDOW: i64 = 300;

fn parameters(window: u32) -> Parameters {
    Parameters {
        window,
        following_error_window: WINDOW as u32,
        following_error_time_out: 50 * MILLISECOND,
        ..Parameters::at(1_000_000)
    }
}

/// Moves that settle later than at once, at most so many; and unsettled ones.
const LIMITS: Limits = Limits { settling: 1, settling_permille: 300, unsettled_permille: 20, kind: 0 };
const LIMITED: [Subject; 2] = [Subject::SettlingLimit, Subject::UnsettledLimit];

/// Shares that may be late and unsettled. Unit: per mille
fn allowed(limits: &Limits) -> [u32; 2] {
    [if limits.settling > 0 { limits.settling_permille } else { 0 }, limits.unsettled_permille]
}

#[derive(Clone, Debug)]
enum Happening {
    /// A move and its rest, one second; feedback ends this far from its target. Unit: counts
    Stop(i32),
    /// Short moves that do not settle, enough to show a share.
    Row(u8),
    /// A move that the command tap does not see.
    Dead,
    /// Nothing moves. Unit: ms
    Idle(u16),
    /// Samples that are lost.
    Lose(u8),
    Acknowledge(u32),
    Act(u32, Action),
    Arrange(Arrangement),
    /// Another window, and limits or none.
    Apply(bool, bool),
}

/// An alarm that there may be.
fn alarm() -> impl Strategy<Value = u32> {
    prop_oneof![1 => Just(0), 12 => 1..4_u32, 3 => 4..8_u32]
}

fn action() -> impl Strategy<Value = Action> {
    let time = prop_oneof![6 => 1..4 * SECOND, 1 => Just(0), 1 => Just(u64::MAX)];
    prop_oneof![
        1 => Just(Action::Reset),
        3 => time.prop_map(Action::Shelve),
        1 => Just(Action::Unshelve),
        1 => Just(Action::OutOfService),
        1 => Just(Action::ReturnToService),
    ]
}

fn arrangement() -> impl Strategy<Value = Arrangement> {
    let subject = prop::sample::select(vec![
        Subject::Signal,
        Subject::Unsettled,
        Subject::FollowingError,
        Subject::Drift,
        Subject::Gap,
        Subject::SettlingLimit,
        Subject::UnsettledLimit,
    ]);
    let time = || prop_oneof![3 => Just(0), 6 => 0..3 * SECOND];
    let long = prop_oneof![1 => Just(0), 6 => SECOND..9 * SECOND, 1 => Just(1 << 49)];
    let axis = prop_oneof![9 => Just(0), 1 => Just(1)];
    (axis, subject, any::<bool>(), time(), time(), time(), long).prop_map(
        |(axis, subject, latching, on_delay, off_delay, re_alarm_time, longest_shelving)| Arrangement {
            axis,
            subject,
            latching,
            on_delay,
            off_delay,
            re_alarm_time,
            longest_shelving,
            priority: AlarmPriority::Low,
        },
    )
}

fn happenings() -> impl Strategy<Value = Vec<Happening>> {
    let several = |happening: Happening, times: usize| vec![happening; times];
    let one = prop_oneof![
        2 => (1..3_usize).prop_map(move |times| several(Happening::Stop(0), times)),
        4 => (2..5_usize).prop_map(move |times| several(Happening::Stop(200), times)),
        4 => (2..5_usize).prop_map(move |times| several(Happening::Stop(400), times)),
        2 => (3..5_usize).prop_map(move |times| several(Happening::Dead, times)),
        2 => (1..3000_u16).prop_map(move |time| several(Happening::Idle(time), 1)),
        3 => (1..20_u8).prop_map(move |count| several(Happening::Lose(count), 1)),
        6 => alarm().prop_map(move |alarm| several(Happening::Acknowledge(alarm), 1)),
        7 => (alarm(), action()).prop_map(move |(alarm, action)| several(Happening::Act(alarm, action), 1)),
        5 => arrangement().prop_map(move |arrangement| several(Happening::Arrange(arrangement), 1)),
        1 => (0..40_u8).prop_map(move |count| several(Happening::Row(count), 1)),
        1 => any::<(bool, bool)>()
            .prop_map(move |(wide, limited)| several(Happening::Apply(wide, limited), 1)),
    ];
    prop::collection::vec(one, 10..40).prop_map(|parts| parts.concat())
}

/// The steps of alarms among these messages.
fn steps(received: &[Received]) -> Vec<Step> {
    let alarm = |(_, message): &Received| match message {
        Message::Alarm(alarm) => Some((alarm.alarm, alarm.subject, alarm.state, alarm.value)),
        _ => None,
    };
    received.iter().filter_map(alarm).collect()
}

struct Bench {
    monitor: Monitor,
    twin: Alarms,
    tick: u32,
    command: i32,
    feedback: i32,
    unsettled: i64,
    limits: Limits,
    /// Of late and of unsettled moves.
    shares: [Share; 2],
    following_error: bool,
    refused: u32,
    steps: Vec<Step>,
}

impl Bench {
    fn new() -> Bench {
        let mut monitor = Monitor::new(parameters(50), MILLISECOND);
        monitor.sample([Reading { tick: 0, command: 0, feedback: 0 }]);
        let twin = Alarms::new(SECOND);
        Bench {
            monitor,
            twin,
            tick: 0,
            command: 0,
            feedback: 0,
            unsettled: 0,
            limits: Limits::default(),
            shares: Default::default(),
            following_error: false,
            refused: 0,
            steps: vec![],
        }
    }

    fn now(&self) -> u64 {
        self.tick.into()
    }

    /// One sample, `samples` periods after the last.
    fn sample(&mut self, samples: u32) -> Result<(), TestCaseError> {
        self.tick += samples * MILLISECOND;
        let (tick, now) = (self.tick, self.now());
        let received =
            self.monitor.sample([Reading { tick, command: self.command, feedback: self.feedback }]);
        let mut expected = vec![];
        expected.extend(self.twin.figure(Subject::Gap, i64::from(samples) - 1, now));
        for (_, message) in &received {
            if let Message::Finding(found) = message
                && found.severity == Severity::Fault
            {
                expected.extend(self.twin.figure(Subject::Signal, found.which as i64, now));
            }
        }
        for (_, message) in &received {
            expected.extend(self.follow(message, now));
        }
        for (_, message) in &received {
            if let Message::Settings(settings) = message
                && !settings.pending
            {
                expected.extend(self.twin.figure(Subject::Signal, -1, now));
                (self.limits, self.shares) = (settings.parameters.limits, Default::default());
                for (subject, limit) in LIMITED.into_iter().zip(allowed(&self.limits)) {
                    expected.extend(self.twin.limit(subject, limit, now));
                }
            }
        }
        self.same(&received, &expected)
    }

    /// The steps that follow from the figures in a message.
    fn follow(&mut self, message: &Message, now: u64) -> Vec<Step> {
        match message {
            Message::Move(sent) => {
                let mut steps = self.limit(sent, now);
                self.unsettled = match sent.outcome {
                    Outcome::Settled => 0,
                    Outcome::Unsettled | Outcome::Interrupted => self.unsettled + 1,
                    Outcome::Untrusted => self.unsettled,
                };
                steps.extend(self.twin.figure(Subject::Unsettled, self.unsettled, now));
                steps
            }
            Message::Status(status) if status.following_error != self.following_error => {
                self.following_error = status.following_error;
                let beyond = i64::from(status.error.abs()) - WINDOW;
                let figure = if self.following_error { beyond.max(1) } else { beyond.min(0) };
                self.twin.figure(Subject::FollowingError, figure, now)
            }
            _ => vec![],
        }
    }

    /// The steps that follow as the shares of moves are shown to be above their limits or below them.
    fn limit(&mut self, sent: &Move, now: u64) -> Vec<Step> {
        let late = match sent.outcome {
            Outcome::Settled => [sent.settling > self.limits.settling, false],
            Outcome::Unsettled => [true, true],
            Outcome::Interrupted | Outcome::Untrusted => return vec![],
        };
        let mut steps = vec![];
        for (index, limit) in allowed(&self.limits).into_iter().enumerate().filter(|(_, limit)| *limit > 0) {
            if let Some(shown) = self.shares[index].step(limit, late[index]) {
                steps.extend(self.twin.figure(LIMITED[index], shown.permille().into(), now));
            }
        }
        steps
    }

    fn same(&mut self, received: &[Received], expected: &[Step]) -> Result<(), TestCaseError> {
        let found = steps(received);
        prop_assert_eq!(&found, expected, "at {}", self.tick);
        self.steps.extend(found);
        Ok(())
    }

    /// Sends a command and compares its steps with those of the twin; `None`: the twin refused it.
    fn send(&mut self, command: &Command, expected: Option<Vec<Step>>) -> Result<(), TestCaseError> {
        self.refused += u32::from(expected.is_none());
        let received = self.monitor.send(command);
        self.same(&received, &expected.unwrap_or_default())?;
        // A refusal is reported at once.
        let status = received.iter().find_map(|(_, message)| match message {
            Message::Status(status) => Some(status.refused_commands),
            _ => None,
        });
        prop_assert_eq!(status.unwrap_or(self.refused), self.refused);
        Ok(())
    }

    /// A move of 200 samples and its rest; feedback ends this far from its target. Unit of `off`: counts
    fn stop(&mut self, off: i32, samples: i32) -> Result<(), TestCaseError> {
        let (from, step) = (self.command, if self.command > 10_000 { -100 } else { 100 });
        for sample in 1..=samples {
            self.command = from + step * sample.min(200);
            self.feedback = self.command + off;
            self.sample(1)?;
        }
        Ok(())
    }

    fn happen(&mut self, happening: &Happening) -> Result<(), TestCaseError> {
        let now = self.now();
        match happening {
            Happening::Stop(off) => self.stop(*off, 1000)?,
            Happening::Row(count) => (0..*count).try_for_each(|_| self.stop(400, 250))?,
            Happening::Dead => {
                let (from, step) = (self.feedback, if self.feedback > 10_000 { -100 } else { 100 });
                for sample in 1..=1000 {
                    self.feedback = from + step * sample.min(200);
                    self.sample(1)?;
                }
            }
            Happening::Idle(time) => (0..*time).try_for_each(|_| self.sample(1))?,
            Happening::Lose(count) => self.sample(u32::from(*count) + 1)?,
            Happening::Acknowledge(alarm) => {
                let expected = self.twin.act(*alarm, Event::Acknowledge, 0, now);
                self.send(&Command::Acknowledge(Acknowledge { alarm: *alarm }), expected)?;
            }
            Happening::Act(alarm, action) => {
                let (event, time) = match *action {
                    Action::Reset => (Event::Reset, 0),
                    Action::Shelve(time) => (Event::Shelve, time),
                    Action::Unshelve => (Event::Unshelve, 0),
                    Action::OutOfService => (Event::OutOfService, 0),
                    Action::ReturnToService => (Event::ReturnToService, 0),
                };
                let expected = self.twin.act(*alarm, event, time, now);
                self.send(&Command::Act(Act { alarm: *alarm, action: *action }), expected)?;
            }
            Happening::Arrange(arrangement) => {
                let expected = self.twin.arrange(arrangement, now);
                self.send(&Command::Arrange(*arrangement), expected)?;
            }
            Happening::Apply(wide, limited) => {
                let limits = if *limited { LIMITS } else { Limits::default() };
                let parameters = (&parameters(if *wide { 60 } else { 50 })).into();
                let parameters = settings::Parameters { limits, ..parameters };
                self.send(&Command::Apply(Apply { axis: 0, parameters }), Some(vec![]))?;
            }
        }
        Ok(())
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..cases(20) })]

    #[test]
    fn a_monitor_reports_what_its_twin_reports(happenings in happenings()) {
        let mut bench = Bench::new();
        for happening in &happenings {
            bench.happen(happening)?;
        }
    }
}

/// The twin has something to say: a day at which everything happens.
#[test]
fn enough_happens() {
    let mut bench = Bench::new();
    let mut happen = |happening: Happening, times: usize| {
        (0..times).for_each(|_| bench.happen(&happening).expect("the same"));
    };
    happen(Happening::Stop(200), 4);
    happen(Happening::Lose(3), 1);
    happen(Happening::Act(1, Action::Shelve(SECOND)), 1);
    happen(Happening::Stop(400), 2);
    happen(Happening::Dead, 4);
    happen(Happening::Acknowledge(1), 1);
    happen(Happening::Apply(true, true), 1);
    happen(Happening::Stop(0), 3);
    happen(Happening::Row(45), 1);
    happen(Happening::Apply(true, false), 1);
    happen(Happening::Stop(0), 2);
    let steps = bench.steps;
    println!("ran {} steps of alarms", steps.len());
    assert!(steps.len() >= 15, "{steps:?}");
    for state in [AlarmState::Unacknowledged, AlarmState::ReturnedToNormalUnacknowledged] {
        let about = |subject| steps.iter().any(|step| (step.1, step.2) == (subject, state));
        assert!(LIMITED.into_iter().all(about), "{state:?}: {steps:?}");
    }
}
