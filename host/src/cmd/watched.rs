//! In: a store, axes and a time. Out: their moves and what was not seen of them, as pictures of many moves need them.

use jiff::tz::TimeZone;

use crate::error::Error;
use crate::plot::moments::{Span, Unseen};
use crate::plot::names;
use crate::store::axes::KnownAxis;
use crate::store::moments::KindMoments;
use crate::store::{Store, time};

/// Letters of an axis name in a title.
const NAME: usize = 40;

/// An axis in a time.
#[derive(Clone, Debug)]
pub(super) struct Watched {
    /// The axis.
    pub(super) known: KnownAxis,
    /// What it is called beside the others.
    pub(super) name: String,
    /// Its moves.
    pub(super) kinds: Vec<KindMoments>,
    /// What was not seen of it.
    pub(super) unseen: Unseen,
}

/// The axes of a name or number, all if none, that have moves within a time. Unit: µs since 1970, UTC
pub(super) fn watched(store: &Store, axis: Option<&str>, within: (i64, i64)) -> Result<Vec<Watched>, Error> {
    let axes = store.find_axes(axis)?;
    let all = names::short(&names_of(&axes), NAME);
    let read = |(known, name): (KnownAxis, String)| {
        let kinds = store.moments(&known, within)?;
        let unseen = unseen(store, &known.axis.name, within)?;
        Ok(Watched { known, name, kinds, unseen })
    };
    axes.into_iter().zip(all).map(read).collect()
}

/// The name of each axis; with its monitor where two monitors have an axis of that name.
fn names_of(axes: &[KnownAxis]) -> Vec<String> {
    let name = |known: &KnownAxis| {
        let name = &known.axis.name;
        match axes.iter().filter(|other| other.axis.name == *name).count() {
            0 | 1 => name.clone(),
            _ => format!("{name} of monitor {}", known.device),
        }
    };
    axes.iter().map(name).collect()
}

/// Unit of the time: µs since 1970, UTC
fn unseen(store: &Store, axis: &str, within: (i64, i64)) -> Result<Unseen, Error> {
    let mut unseen = Unseen::default();
    for hole in store.holes(Some(axis), within)? {
        match hole.length_s {
            Some(length) => {
                let end = hole.at.saturating_add(length.saturating_mul(1_000_000));
                unseen.stretches.push((hole.at, end));
            }
            None => unseen.missing.push(hole.at),
        }
    }
    Ok(unseen)
}

/// The time that a picture of these shows: from the first move to the last, or the time that was wanted as far as it has
/// passed. Unit: µs since 1970, UTC
pub(super) fn span(all: &[Watched], (since, until): (i64, i64), zone: &TimeZone) -> Option<Span> {
    let moves = all.iter().flat_map(|one| &one.kinds).flat_map(|kind| &kind.moments).map(|one| one.at);
    let mut instants: Vec<i64> = moves.collect();
    if instants.is_empty() {
        return None;
    }
    instants.extend((since > i64::MIN).then_some(since));
    instants.extend((until < i64::MAX).then_some(until.min(time::now())));
    Span::of(instants.into_iter(), zone.clone())
}
