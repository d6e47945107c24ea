//! In: any readings and any points, extremes included. Out: the same, through as many frames as they need.

use proptest::collection::vec;
use proptest::prelude::*;
use stillpoint_core::wire::crc::SmallTable;
use stillpoint_core::wire::curve::Curve;
use stillpoint_core::wire::frame::{Frame, Payload as _, Read, encode_body};
use stillpoint_core::wire::header::{Direction, Header, Numbers};
use stillpoint_core::wire::message::Message;
use stillpoint_core::wire::trace::Trace;
use stillpoint_core::wire::{LONGEST_BODY, LONGEST_PIECE};
use stillpoint_core::{CurvePoint, Reading};
use stillpoint_tests::rounds::cases;

/// Any number, the edges of its width often.
fn wild() -> impl Strategy<Value = u32> {
    prop_oneof![Just(0), Just(1), Just(u32::MAX >> 1), Just(1 << 31), Just(u32::MAX), any::<u32>()]
}

/// A step that is mostly small and often the same as ever.
fn step() -> impl Strategy<Value = u32> {
    prop_oneof![4 => Just(100), 2 => 0..200_u32, 1 => wild()]
}

/// The body of the frame with the longest header there is.
fn body(message: &Message) -> Vec<u8> {
    let header = Numbers::new(Direction::FromDevice, u32::MAX).next_header(message.priority());
    let header = Header { sequence: u32::MAX, ..header };
    encode_body::<SmallTable>(&header, message, &mut [0; LONGEST_BODY])
        .expect("a piece fits a frame")
        .to_vec()
}

fn traces(readings: &[Reading]) -> (Vec<Reading>, usize) {
    let mut remaining = readings.iter().copied().peekable();
    let (mut found, mut frames) = (vec![], 0);
    let mut buffer = [0; LONGEST_PIECE];
    while let Some(trace) = Trace::pack((u8::MAX, u32::MAX, found.len() as u32), &mut remaining, &mut buffer)
    {
        let body = body(&Message::Trace(trace));
        let frame = Frame::check::<SmallTable>(&body).expect("sealed");
        let Ok(Read { payload: Message::Trace(came), extra: 0 }) = frame.read() else { panic!("no trace") };
        assert_eq!(came.first as usize, found.len());
        found.extend(came.readings());
        frames += 1;
        assert_eq!(came.last, found.len() == readings.len());
    }
    (found, frames)
}

fn curves(points: &[CurvePoint]) -> (Vec<CurvePoint>, usize) {
    let mut remaining = points.iter().copied().peekable();
    let (mut found, mut frames) = (vec![], 0);
    let mut buffer = [0; LONGEST_PIECE];
    while let Some(curve) = Curve::pack((u8::MAX, u32::MAX, found.len() as u16), &mut remaining, &mut buffer)
    {
        let body = body(&Message::Curve(curve));
        let frame = Frame::check::<SmallTable>(&body).expect("sealed");
        let Ok(Read { payload: Message::Curve(came), extra: 0 }) = frame.read() else { panic!("no curve") };
        assert_eq!(usize::from(came.first), found.len());
        found.extend(came.points());
        frames += 1;
        assert_eq!(came.last, found.len() == points.len());
    }
    (found, frames)
}

/// Points down the law of windows from the widest; where `astray` is set, the window is any other.
fn points(steps: &[(Option<u32>, Option<u32>)]) -> Vec<CurvePoint> {
    let mut law = u32::MAX;
    let points = steps.iter().map(|(astray, settling)| {
        let quarter = (law as f64 + 1.0).log2().ceil() as i32 - 3;
        law = law.saturating_sub(1 << quarter.max(0));
        CurvePoint { window: astray.unwrap_or(law), settling: *settling }
    });
    points.collect()
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..cases(256) })]

    #[test]
    fn any_readings_survive(numbers in vec((wild(), wild(), wild()), 1..200)) {
        let readings: Vec<Reading> = numbers.iter().map(|(tick, command, feedback)| Reading {
            tick: *tick, command: *command as i32, feedback: *feedback as i32,
        }).collect();
        prop_assert_eq!(traces(&readings).0, readings);
    }

    #[test]
    fn readings_of_a_course_survive(start in wild(), steps in vec((step(), step(), step()), 1..500)) {
        let mut reading = Reading { tick: start, command: start as i32, feedback: start as i32 };
        let readings: Vec<Reading> = steps.iter().map(|(tick, command, feedback)| {
            reading.tick = reading.tick.wrapping_add(*tick);
            reading.command = reading.command.wrapping_add(*command as i32);
            reading.feedback = reading.feedback.wrapping_sub(*feedback as i32);
            reading
        }).collect();
        prop_assert_eq!(traces(&readings).0, readings);
    }

    #[test]
    fn any_points_survive(numbers in vec((wild(), proptest::option::of(wild())), 1..121)) {
        let points: Vec<CurvePoint> =
            numbers.iter().map(|(window, settling)| CurvePoint { window: *window, settling: *settling }).collect();
        prop_assert_eq!(curves(&points).0, points);
    }

    #[test]
    fn points_that_mostly_follow_the_law_survive(
        steps in vec((proptest::option::weighted(0.02, wild()), proptest::option::weighted(0.9, step())), 1..121),
    ) {
        let points = points(&steps);
        let (found, frames) = curves(&points);
        prop_assert_eq!(found, points);
        let astray = steps.iter().filter(|(astray, _)| astray.is_some()).count();
        prop_assert!(frames <= 2 * astray + 4, "{frames} frames for {astray} points off the law");
    }
}
