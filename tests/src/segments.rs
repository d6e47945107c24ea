//! In: a whole command at once, and whether its target was reached. Out: its moves, by the rules of METHOD.md.
//!
//! The slow, obvious twin of the core's segmentation. It looks at lists of changes and ahead in them, and stores nothing
//! but such lists.

/// What the rules need to know. Unit: counts, ticks
#[derive(Clone, Copy, Debug, Default)]
pub struct Rules {
    /// Half-width of the position window.
    pub window: i64,
    /// How long the command must stand.
    pub rest_time: i64,
}

/// One move. Instants are sample numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Segment {
    /// Last sample at the old command.
    pub start: usize,
    /// First sample at the final command.
    pub command_end: usize,
    /// Last sample of the rest.
    pub rest_end: usize,
    /// Unit: counts
    pub travel: i64,
    /// The command was already changing when the samples began.
    pub joined_late: bool,
}

/// All of a recording.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Segments {
    /// The moves that are reported, in order.
    pub moves: Vec<Segment>,
    /// Small excursions.
    pub small: i64,
    /// Stops that could not be told from turning points.
    pub turns: i64,
    /// A move is under way at the end, or may be.
    pub under_way: bool,
}

/// One change of the command.
#[derive(Clone, Copy, Debug)]
struct Change {
    /// Its sample.
    at: usize,
    /// Unit: counts
    size: i64,
    /// Time since the change before, or since the first sample. Unit: ticks, samples
    since: i64,
    samples: i64,
    /// Its sample period. Unit: ticks
    period: i64,
    /// It follows a rest, or is the first of all.
    first: bool,
}

/// Changes that are of one move, or of one small excursion.
#[derive(Clone, Debug, Default)]
struct Part {
    changes: Vec<Change>,
    joined_late: bool,
    /// How many pulses a regular train has; 0 if this is none.
    pulses: i64,
}

impl Part {
    fn last(&self) -> Pulse {
        self.pulse(self.changes.len() - 1)
    }

    /// A change as seen with those before it.
    fn pulse(&self, place: usize) -> Pulse {
        let change = self.changes[place];
        let before = place.checked_sub(1).map(|place| self.changes[place]);
        let same = |other: &&Change| (other.size < 0) == (change.size < 0);
        let follows = place > 0 || self.joined_late;
        let turns = before.filter(|before| !same(&before) && (place > 1 || self.joined_late));
        let stood = match before {
            _ if change.first => place == 0 && self.joined_late && change.samples > 1,
            before => change.samples > 1 && before.as_ref().is_some_and(|before| same(&before)),
        };
        let equal = before.is_some_and(|before| (before.size.abs() - change.size.abs()).abs() <= 1);
        Pulse {
            size: change.size,
            pause: turns.map_or(change.since, |before| change.since.max(before.since)),
            stood,
            coarse: stood && !change.first && equal,
            follows,
        }
    }

    /// Shortest time between two changes. Unit: samples
    fn shortest(&self) -> i64 {
        self.changes.iter().skip(1).map(|change| change.samples).min().unwrap_or(1)
    }

    fn and(&self, later: &Part) -> Part {
        let changes = self.changes.iter().chain(&later.changes).copied().collect();
        Part { changes, joined_late: self.joined_late, pulses: self.pulses + later.pulses }
    }

    fn until(&self, places: usize) -> Part {
        Part { changes: self.changes[..places].to_vec(), ..*self }
    }

    fn travel(&self) -> i64 {
        self.changes.iter().map(|change| change.size).sum()
    }

    fn excursion(&self) -> i64 {
        let mut travel = 0;
        let furthest = self.changes.iter().map(|change| {
            travel += change.size;
            travel.abs()
        });
        furthest.max().unwrap_or(0)
    }

    fn segment(&self, rest_end: usize) -> Segment {
        let (first, last) = (self.changes[0], self.changes[self.changes.len() - 1]);
        let (start, command_end) = (first.at - 1, last.at);
        Segment { start, command_end, rest_end, travel: self.travel(), joined_late: self.joined_late }
    }
}

/// A change, and what is known of the pause before it.
#[derive(Clone, Copy, Debug)]
struct Pulse {
    size: i64,
    pause: i64,
    stood: bool,
    coarse: bool,
    follows: bool,
}

impl Rules {
    fn small(&self) -> i64 {
        self.window.max(1)
    }

    /// Sizes within a factor of five.
    fn alike(&self, one: i64, other: i64) -> bool {
        one.abs().max(other.abs()) <= 5 * one.abs().min(other.abs())
    }

    /// Whether `next`, after `pause`, may be of the same train as `last`. Unit: ticks
    fn may_precede(&self, last: Pulse, next: i64, pause: i64, pace: i64) -> bool {
        let back = (last.size < 0) != (next < 0);
        let (small, difference) = (self.small(), (last.size.abs() - next.abs()).abs());
        let alike = self.alike(last.size, next);
        let slow =
            back && last.coarse && difference <= 1 || alike && last.size.abs().min(next.abs()) <= small;
        let in_time = pause <= (if back { 5 } else { 3 }) * (last.pause + pace) + pace / 2;
        let two_pauses = 2 * last.pause + pace + pace / 2;
        let skips = last.stood && pause <= two_pauses && difference <= 5 * small;
        let few = last.size.abs().max(next.abs()) <= 3 * small;
        let brief = alike && few && pause <= two_pauses + 2 * pace;
        last.follows && (slow && in_time || skips || brief)
    }

    /// Whether `next` goes on at the pace of `last` and of the pause before it.
    fn continues(&self, last: Pulse, before: i64, next: Change, pace: i64) -> bool {
        next.since <= 4 * (last.pause.max(before) + pace)
            && last.pause.min(before) <= 4 * (next.since + pace)
            && self.like(last.size, next.size)
    }

    fn like(&self, one: i64, other: i64) -> bool {
        (one < 0) == (other < 0) && self.alike(one, other)
    }
}

/// Divides a command into moves. `reached` tells of two changes whether the target was reached between them.
pub fn segments(
    rules: Rules,
    ticks: &[i64],
    command: &[i64],
    reached: &dyn Fn(usize, usize) -> bool,
) -> Segments {
    let mut walk = Walk { rules, idle: true, ..Walk::default() };
    let excursions = excursions(rules, ticks, command);
    for (changes, rests) in &excursions {
        let current = walk.next(changes.clone(), *rests, reached).filter(|_| *rests);
        let Some(current) = current else {
            walk.found.under_way = true;
            return walk.found;
        };
        walk.rest(current);
    }
    match walk.open.take() {
        Some(last) if may_go_on(rules, ticks, &last) => walk.found.under_way = true,
        Some(last) => walk.found.moves.push(last.segment(ticks.len() - 1)),
        None => (),
    }
    walk.found
}

/// What is known after some excursions.
#[derive(Default)]
struct Walk {
    rules: Rules,
    /// The move whose rest is not over.
    open: Option<Part>,
    /// The small excursion just before, and the one before it if it may be of the same train.
    lone: Option<Part>,
    chain: Option<Part>,
    /// The last excursion was small, or there was none.
    idle: bool,
    found: Segments,
}

impl Walk {
    /// The move or small excursion that the next excursion is part of; `None` if the samples end before it is known.
    fn next(
        &mut self,
        changes: Vec<Change>,
        rests: bool,
        reached: &dyn Fn(usize, usize) -> bool,
    ) -> Option<Part> {
        let (rules, first) = (self.rules, changes[0]);
        self.resolve_chain(first);
        let held = first.samples > 3 && first.since >= rules.rest_time + first.period;
        let part = Part { joined_late: self.idle && !held, pulses: 0, changes };
        if let Some(stop) = self.open.take() {
            let was_reached = reached(stop.changes[stop.changes.len() - 1].at, first.at);
            return match after_stop(rules, &stop, &part, rests, was_reached, &mut self.found.turns) {
                After::SameMove => Some(stop.and(&part)),
                After::NextMove => {
                    self.found.moves.push(stop.segment(first.at - 1));
                    Some(fresh(rules, part, None, rests, &mut self.found.small).0)
                }
                After::Undecided => None,
            };
        }
        let before = self.lone.take().filter(|before| {
            let (last, pace) = (before.last(), first.period * before.shortest());
            let regular = before.pulses == 1 || rules.continues(last, last.pause, first, pace);
            let soon = first.since <= 8 * rules.rest_time + pace;
            let small = first.size.abs() <= rules.small();
            before.pulses > 0 && soon && small && rules.like(last.size, first.size) && regular
        });
        let (current, chain) = fresh(rules, part, before, rests, &mut self.found.small);
        self.chain = chain;
        Some(current)
    }

    /// The small excursion before this change may turn out to be of the same train as the one before it.
    fn resolve_chain(&mut self, first: Change) {
        let (Some(before), Some(lone)) = (self.chain.take(), &self.lone) else { return };
        let pace = first.period * before.and(lone).shortest();
        if self.rules.continues(lone.last(), lone.last().pause, first, pace) {
            self.lone = Some(before.and(lone));
            self.found.small -= 1;
        }
    }

    /// An excursion rests.
    fn rest(&mut self, current: Part) {
        self.idle = current.excursion() <= self.rules.small();
        if self.idle {
            self.found.small += 1;
            self.lone = Some(current);
        } else {
            (self.lone, self.chain, self.open) = (None, None, Some(current));
        }
    }
}

/// All changes between rests, and whether each such excursion rests.
fn excursions(rules: Rules, ticks: &[i64], command: &[i64]) -> Vec<(Vec<Change>, bool)> {
    let changes: Vec<usize> = (1..command.len()).filter(|&k| command[k] != command[k - 1]).collect();
    let mut excursions: Vec<(Vec<Change>, bool)> = vec![];
    let mut before = 0;
    for (number, &at) in changes.iter().enumerate() {
        let next = changes.get(number + 1).copied().unwrap_or(command.len());
        let rests = next - 1 - at >= 3 && ticks[next - 1] - ticks[at] >= rules.rest_time;
        let first = excursions.last().is_none_or(|last| last.1);
        if first {
            excursions.push((vec![], false));
        }
        let last = excursions.last_mut().expect("one was added");
        let (since, samples) = (ticks[at] - ticks[before], (at - before) as i64);
        let (size, period) = (command[at] - command[at - 1], ticks[at] - ticks[at - 1]);
        last.0.push(Change { at, size, since, samples, period, first });
        last.1 = rests;
        before = at;
    }
    excursions
}

/// What an excursion after a stop is.
enum After {
    SameMove,
    NextMove,
    /// The samples end before it is known.
    Undecided,
}

fn after_stop(rules: Rules, stop: &Part, part: &Part, rests: bool, reached: bool, turns: &mut i64) -> After {
    let (last, first, small) = (stop.last(), part.changes[0], rules.small());
    let pace = first.period * stop.shortest();
    let mut train = rules.may_precede(last, first.size, first.since, pace);
    let is_small = first.size.abs() <= small;
    let late = last.follows
        && is_small
        && last.size.abs() <= small
        && first.since <= 8 * (last.pause + pace) + pace / 2;
    if !(train || late || is_small && !reached) {
        return After::NextMove;
    }
    if let Some(second) = part.changes.get(1) {
        let both = stop.and(&part.until(2));
        let pulse = both.pulse(both.changes.len() - 2);
        let pace = second.period * both.shortest();
        let back = (second.size < 0) != (first.size < 0);
        train &= rules.continues(pulse, last.pause, *second, pace)
            || back && rules.may_precede(pulse, second.size, second.since, pace);
    }
    let beyond = (2..=part.changes.len()).any(|places| part.until(places).excursion() > small);
    match (beyond, train) {
        (true, false) => After::NextMove,
        (true, true) => {
            *turns += 1;
            After::SameMove
        }
        (false, _) if !rests => After::Undecided,
        (false, _) => {
            let back = (last.size < 0) != (part.changes[part.changes.len() - 1].size < 0);
            *turns += i64::from(train && (back || part.excursion() > small));
            After::SameMove
        }
    }
}

/// An excursion that continues no stop, with the slow start before it, if that is decided, or apart from it.
fn fresh(
    rules: Rules,
    mut part: Part,
    before: Option<Part>,
    rests: bool,
    small: &mut i64,
) -> (Part, Option<Part>) {
    let (mut joined, mut before) = (None, before);
    part.pulses = 1;
    for place in 1..part.changes.len() {
        let whole = |before: &Part| before.and(&part.until(place + 1));
        let (next, last) = (part.changes[place], part.pulse(place - 1));
        let seen = match (&before, &joined) {
            (Some(before), _) | (None, Some(before)) => whole(before),
            (None, None) => part.until(place + 1),
        };
        let pace = next.period * seen.shortest();
        let continues = rules.continues(last, last.pause, next, pace);
        let regular = part.pulses == 1 && rules.like(last.size, next.size) || continues;
        if let Some(slow) = before.take().filter(|_| continues) {
            *small -= 1;
            part.pulses += slow.pulses;
            joined = Some(slow);
        }
        let counts = regular && part.pulses > 0 && next.samples > 1;
        part.pulses = if counts { part.pulses + 1 } else { 0 };
    }
    if let Some(slow) = before.take_if(|slow| rests && slow.pulses > 1) {
        *small -= 1;
        return (slow.and(&part), None);
    }
    match joined {
        Some(slow) => (Part { pulses: part.pulses, ..slow.and(&part) }, before),
        None => (part, before),
    }
}

/// Whether a move that rests at the end of the samples may yet go on.
fn may_go_on(rules: Rules, ticks: &[i64], part: &Part) -> bool {
    let at = part.changes[part.changes.len() - 1].at;
    let certain = (at + 3..ticks.len()).find(|&k| ticks[k] - ticks[at] >= rules.rest_time).expect("it rests");
    let period = (ticks[certain] - ticks[at]) / (certain - at) as i64;
    let (last, pace, held) = (part.last(), period * part.shortest(), ticks[ticks.len() - 1] - ticks[at]);
    let slow = last.coarse || last.size.abs() <= rules.small();
    let two_pauses = 2 * last.pause + pace + pace / 2;
    let few = last.size.abs() <= 3 * rules.small();
    let in_time = held <= 5 * (last.pause + pace) + pace / 2;
    let waits = slow && in_time || last.stood && held <= two_pauses || few && held <= two_pauses + 2 * pace;
    part.changes.len() > 1 && last.follows && waits
}
