//! In: a request about the stops or the moves of an axis. Out: the monitor's answer in words.

use stillpoint_core::wire::command::{CaptureNext, Command, Job};
use stillpoint_core::wire::message::Message;

use super::Answer;
use super::session::Session;
use crate::error::Error;
use crate::report::number;

/// Refuses an axis that the monitor does not have.
pub(super) fn check(session: &Session, axis: u8) -> Result<(), Error> {
    if axis < session.monitor.axes {
        return Ok(());
    }
    let last = session.monitor.axes.saturating_sub(1);
    Err(session.error(format!("there is no axis {axis}"), format!("its axes are 0 to {last}")))
}

/// Requests the samples around the next stops.
pub(super) fn capture(session: &mut Session, axis: u8, stops: u32) -> Result<Answer, Error> {
    check(session, axis)?;
    // Accepted or refused, the monitor answers with a status; the axis, checked above, is the only reason to refuse.
    session.request(&Command::CaptureNext(CaptureNext { axis, stops }), |_, _| None::<()>)?;
    Ok(Answer::info(match stops {
        0 => format!("axis {axis}: no more samples are sent"),
        _ => format!(
            "axis {axis}: the samples around the next {} will be sent; `stillpoint watch` stores them",
            number::count(stops, "stop")
        ),
    }))
}

/// Sets the product that an axis, or without one each axis, works on.
pub(super) fn set_job(session: &mut Session, axis: Option<u8>, number: u32) -> Result<Answer, Error> {
    axis.map_or(Ok(()), |axis| check(session, axis))?;
    let command = Command::Job(Job { axis: axis.unwrap_or(Job::ALL_AXES), number });
    let answer = session.request(&command, |header, message| match message {
        Message::Job(sent) if sent.number == number && axis.is_none_or(|axis| axis == sent.axis) => {
            Some((*header, sent.axis))
        }
        _ => None,
    })?;
    let Some((header, first)) = answer else {
        return Err(session.error("the job can't be set", "the monitor may have an older firmware"));
    };
    let which = axis.map_or("all axes".to_owned(), |axis| format!("axis {axis}"));
    let job = if number == 0 { "no job".to_owned() } else { format!("job {number}") };
    Ok(Answer::action(format!("{which}: {job} from the next move on"), "job", header, first))
}
