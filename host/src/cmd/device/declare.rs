//! In: moves that a person declares good. Out: the monitor's answer in words, with what was not compared; or that they are
//! slower than last week's.

use std::path::Path;

use stillpoint_core::wire::command::{Command, Declare};
use stillpoint_core::wire::drift::{Restart, RestartReason};
use stillpoint_core::wire::message::Message;

use super::Answer;
use super::axis::check;
use super::session::Session;
use crate::analysis::slower::{FEWEST, Slower, SmallestChange, slower};
use crate::error::Error;
use crate::report::number::{fixed, plain};
use crate::store::recent::RecentMoves;
use crate::store::{Options, Store, time};

/// Chance of a wrong refusal, of all kinds together.
const RISK: f64 = 0.01;

/// Declares moves good, unless those of the last hour in `store` are slower than those of the week before.
pub(super) fn run(session: &mut Session, store: Option<&Path>, declare: &Declare) -> Result<Answer, Error> {
    check(session, declare.axis)?;
    let not_compared = store.map(|store| refuse_slow_moves(session, store, declare)).transpose()?;
    let Declare { axis, kind, add } = *declare;
    let answer = session.request(&Command::Declare(*declare), |header, message| match message {
        Message::Restart(restart) if answers(declare, restart) => Some(*header),
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
    let what = if add { "baselines are extended by the moves to come" } else { "baselines are learnt anew" };
    let not_compared = not_compared.flatten().map(|why| format!("; {why}")).unwrap_or_default();
    let text = format!("axis {axis}: {which} are declared good as they run now; {what}{not_compared}");
    Ok(Answer::action(text, "baseline", header, axis))
}

/// Whether baselines begin anew, or are extended, because of this request and not by themselves.
fn answers(declare: &Declare, restart: &Restart) -> bool {
    let why = if declare.add { RestartReason::Taught } else { RestartReason::Declared };
    (restart.axis, restart.kind, restart.why) == (declare.axis, declare.kind, why)
}

/// Refuses moves of the last hour that are slower than those of the week before by more than the smallest change. Returns
/// what was not compared, and why.
fn refuse_slow_moves(session: &Session, store: &Path, declare: &Declare) -> Result<Option<String>, Error> {
    let Declare { axis, kind, .. } = *declare;
    let store = Store::open(store, &Options::default())?;
    if store.is_of_others(&session.monitor.number)? {
        let wrong = format!("axis {axis} is not declared good: the store has moves of other monitors only");
        return Err(session.error(wrong, "give the store that `stillpoint watch` fills, or --anyway"));
    }
    let groups = store.recent_moves(&session.monitor.number, axis, time::now())?;
    let groups: Vec<RecentMoves> =
        groups.into_iter().filter(|group| kind == 0 || kind == group.number).collect();
    let smallest = smallest_change(session, axis);
    let risk = RISK / groups.len() as f64;
    let is_slower = |group: &RecentMoves| {
        slower(&group.recent, &group.earlier, smallest, risk).map(|slower| words(group, &slower))
    };
    let slow: Vec<String> = groups.iter().filter_map(is_slower).collect();
    if slow.is_empty() {
        return Ok(not_compared(&groups));
    }
    let wrong = format!("axis {axis} is not declared good: {}", slow.join("; "));
    Err(session.error(wrong, "give --anyway to declare them good as they are"))
}

/// What could not be compared with the week before, and why; none if all was.
fn not_compared(groups: &[RecentMoves]) -> Option<String> {
    let Some(first) = groups.first() else {
        return Some(
            "nothing was compared: the store has no moves of the last hour and the week before".to_owned(),
        );
    };
    if let Some(why) =
        too_few(first).filter(|why| groups.iter().all(|group| too_few(group).as_ref() == Some(why)))
    {
        return Some(format!("nothing was compared: {why}"));
    }
    let lacking = groups.iter().filter_map(|group| Some(format!("{} ({})", which(group), too_few(group)?)));
    let lacking: Vec<String> = lacking.collect();
    (!lacking.is_empty()).then(|| format!("not compared: {}", lacking.join(", ")))
}

/// Why moves can't be compared; none if they can.
fn too_few(group: &RecentMoves) -> Option<String> {
    let sides = [(group.recent.len(), "the last hour"), (group.earlier.len(), "the week before")];
    let (moves, side) = sides.into_iter().find(|(moves, _)| *moves < FEWEST)?;
    Some(match moves {
        0 => format!("the store has no moves of {side}"),
        _ => format!("the store has fewer than {FEWEST} moves of {side}"),
    })
}

/// The smallest change of an axis that is worth an alarm.
fn smallest_change(session: &Session, axis: u8) -> SmallestChange {
    let parameters = session.monitor.settings.get(&axis).copied().unwrap_or_default();
    let drift = parameters.drift_config();
    SmallestChange {
        share: f64::from(drift.smallest_change_permille) / 1000.0,
        time: f64::from(drift.smallest_change) / f64::from(parameters.ticks_per_second.max(1)),
    }
}

/// `+60 mm at 600 mm/s (kind 1), job 7`.
fn which(RecentMoves { kind, job, .. }: &RecentMoves) -> String {
    if *job == 0 { kind.clone() } else { format!("{kind}, job {job}") }
}

/// `+60 mm at 600 mm/s (kind 1): these moves are 40 % slower than last week's, 70.0 ms instead of 50.0 ms in the mean`.
fn words(group: &RecentMoves, slower: &Slower) -> String {
    let which = which(group);
    let ms = |seconds: f64| format!("{} ms", fixed(1e3 * seconds, 1));
    let percent = |share: f64| format!("{} %", plain(100.0 * share));
    match (slower.mean, slower.unsettled) {
        ([Some(now), Some(before)], [unsettled, unsettled_before])
            if now > before && before > 0.0 && unsettled <= unsettled_before =>
        {
            let share = fixed(100.0 * (now / before - 1.0), 0);
            let (now, before) = (ms(now), ms(before));
            format!(
                "{which}: these moves are {share} % slower than last week's, {now} instead of {before} in the mean"
            )
        }
        (_, [now, before]) if now > before => {
            let (now, before) = (percent(now), percent(before));
            format!("{which}: {now} of these moves do not settle, of last week's {before}")
        }
        _ => format!("{which}: these moves are slower than last week's"),
    }
}
