//! In: a request about the stops or the moves of an axis. Out: the monitor's answer in words.

use stillpoint_core::wire::command::{CaptureNext, Command, Declare};
use stillpoint_core::wire::message::Message;

use super::Answer;
use super::session::Session;
use crate::error::Error;

/// Refuses an axis that the monitor does not have.
pub(super) fn check(session: &Session, axis: u8) -> Result<(), Error> {
    if session.monitor.settings.contains_key(&axis) {
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
            "axis {axis}: the samples around the next {stops} stops will be sent; `stillpoint watch` stores them"
        ),
    }))
}

/// Declares the present moves good; `kind` 0 is all kinds.
pub(super) fn declare(session: &mut Session, axis: u8, kind: u32) -> Result<Answer, Error> {
    check(session, axis)?;
    let command = Command::Declare(Declare { axis, kind, add: false });
    let answer = session.request(&command, |header, message| match message {
        Message::Restart(restart) if (restart.axis, restart.kind) == (axis, kind) && !header.replay => {
            Some(*header)
        }
        _ => None,
    })?;
    let (which, none) = match kind {
        0 => ("all kinds of moves".to_owned(), "it has made no move yet".to_owned()),
        _ => (format!("moves of kind {kind}"), format!("it has no kind {kind} of moves")),
    };
    let Some(header) = answer else {
        let wrong = format!("axis {axis} can't be declared good: {none}");
        return Err(session.error(
            wrong,
            "store its frames with `stillpoint watch --store`; `stillpoint moves` then prints the kinds",
        ));
    };
    let text = format!("axis {axis}: {which} are declared good as they run now; baselines are learnt anew");
    Ok(Answer::action(text, "baseline", header, axis))
}
