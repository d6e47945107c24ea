//! In: errors after the command end, however many. Out: their ranges over parts of the rest, as its last third.
//!
//! How long the rest will be is not known before it ends. So it is divided into at most twelve blocks of equal length;
//! when all are full, each two become one and the length doubles. At the end there are six to twelve, and a third of
//! the rest is known to half a block.

/// Most blocks.
const BLOCKS: usize = 12;

/// Extremes of one block.
#[derive(Clone, Copy, Debug, Default)]
struct Block {
    least: i32,
    most: i32,
}

impl Block {
    fn with(self, other: Block) -> Block {
        Block { least: self.least.min(other.least), most: self.most.max(other.most) }
    }
}

/// Turning points found in one block, one number for each hysteresis.
type Turned = [u8; 2];

fn sum(one: Turned, other: Turned) -> Turned {
    [one[0].saturating_add(other[0]), one[1].saturating_add(other[1])]
}

/// A part of a rest.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Part {
    /// Smallest and largest error. Unit: counts
    pub least: i32,
    pub most: i32,
    /// Turning points found.
    pub turns: [u8; 2],
}

impl Part {
    /// Largest error less the smallest. Unit: counts
    pub(crate) fn range(&self) -> u32 {
        self.most.wrapping_sub(self.least) as u32
    }

    /// How far these errors and others overlap. Unit: counts
    pub(crate) fn overlap(&self, other: &Part) -> u32 {
        let (least, most) = (self.least.max(other.least), self.most.min(other.most));
        if most > least { most.wrapping_sub(least) as u32 } else { 0 }
    }

    /// How far apart the middles of these errors and of others are. Unit: counts
    pub(crate) fn shift(&self, other: &Part) -> u32 {
        self.middle().abs_diff(other.middle())
    }

    /// Largest |error|. Unit: counts
    pub(crate) fn largest(&self) -> u32 {
        self.least.unsigned_abs().max(self.most.unsigned_abs())
    }

    /// Half-way between the extremes. Unit: counts
    pub(crate) fn middle(&self) -> i32 {
        self.least.wrapping_add((self.range() / 2) as i32)
    }
}

/// Blocks of the rest so far.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Blocks {
    /// Errors added.
    count: u32,
    /// Length of a block, a power of two. Unit: samples
    length: u32,
    /// The block under way.
    current: usize,
    blocks: [Block; BLOCKS],
    turns: [Turned; BLOCKS],
}

impl Blocks {
    /// Starts with the error at the command end.
    pub(crate) fn restart(&mut self, error: i32) {
        *self = Blocks { length: 1, ..Blocks::default() };
        self.step(error);
    }

    /// Adds one error.
    pub(crate) fn step(&mut self, error: i32) {
        let begins = self.count & self.length.wrapping_sub(1) == 0;
        if begins && self.count > 0 {
            self.next();
        }
        self.count = self.count.saturating_add(1);
        let (Some(block), Some(turns)) =
            (self.blocks.get_mut(self.current), self.turns.get_mut(self.current))
        else {
            return;
        };
        if begins {
            (*block, *turns) = (Block { least: error, most: error }, [0; 2]);
        } else {
            (block.least, block.most) = (block.least.min(error), block.most.max(error));
        }
    }

    /// Adds many errors.
    pub(crate) fn add(&mut self, errors: &[i32]) {
        let mut remaining = errors;
        while let Some((first, others)) = remaining.split_first() {
            self.step(*first);
            let within = self.count.wrapping_neg() & self.length.wrapping_sub(1);
            let (same, later) = others.split_at(others.len().min(within as usize));
            if let Some(block) = self.blocks.get_mut(self.current) {
                (block.least, block.most) =
                    same.iter().fold((block.least, block.most), |(least, most), error| {
                        (least.min(*error), most.max(*error))
                    });
            }
            self.count = self.count.saturating_add(same.len() as u32);
            remaining = later;
        }
    }

    /// Adds a turning point found with the last error.
    pub(crate) fn turn(&mut self, level: usize) {
        let block = self.turns.get_mut(self.current);
        if let Some(turns) = block.and_then(|block| block.get_mut(level)) {
            *turns = turns.saturating_add(1);
        }
    }

    /// The next block begins; if there is none, the length doubles.
    fn next(&mut self) {
        self.current += 1;
        if self.current < BLOCKS {
            return;
        }
        join_pairs(&mut self.blocks, Block::with);
        join_pairs(&mut self.turns, sum);
        (self.current, self.length) = (BLOCKS / 2, self.length.saturating_mul(2));
    }

    /// Number of errors.
    pub(crate) fn samples(&self) -> u32 {
        self.count
    }

    /// The last block, the last two, and so on to all: number of errors, and largest less smallest. Unit: counts
    pub(crate) fn ends(&self) -> impl Iterator<Item = (u32, u32)> + '_ {
        let blocks = self.blocks.get(..=self.current).unwrap_or_default().iter().enumerate().rev();
        blocks.scan(None, |last: &mut Option<Block>, (index, block)| {
            let joined = last.map_or(*block, |last| last.with(*block));
            *last = Some(joined);
            let before = self.length.saturating_mul(index as u32);
            Some((self.count.saturating_sub(before), joined.most.wrapping_sub(joined.least) as u32))
        })
    }

    /// The rest from `from` to `to` of its `of` equal parts, to half a block; at least one block.
    pub(crate) fn part(&self, from: u32, to: u32, of: u32) -> Part {
        let length = u64::from(self.length.max(1));
        let edge = |part: u32| {
            let sample = u64::from(self.count) * u64::from(part) / u64::from(of.max(1));
            ((sample + length / 2) / length) as usize
        };
        let first = edge(from).min(self.current);
        let last = edge(to).max(first + 1);
        let range = first..last.min(self.current + 1);
        let (blocks, turns) = (self.blocks.get(range.clone()), self.turns.get(range));
        let Block { least, most } =
            blocks.unwrap_or_default().iter().copied().reduce(Block::with).unwrap_or_default();
        Part { least, most, turns: turns.unwrap_or_default().iter().copied().fold([0; 2], sum) }
    }
}

/// Each two become one, in the first half.
fn join_pairs<T: Copy>(places: &mut [T; BLOCKS], join: impl Fn(T, T) -> T) {
    for k in 0..BLOCKS / 2 {
        let two = places.get(2 * k).copied().zip(places.get(2 * k + 1).copied());
        if let (Some((one, other)), Some(place)) = (two, places.get_mut(k)) {
            *place = join(one, other);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::vec::Vec;

    fn errors(count: usize) -> Vec<i32> {
        (0..count as u32).map(|k| (k.wrapping_mul(2_654_435_761) as i32 >> 20) - k as i32).collect()
    }

    /// Slow twin: the stored errors, cut into the fewest blocks of a power of two that are twelve at most.
    fn slow(errors: &[i32], from: usize, to: usize, of: usize) -> (i32, i32) {
        let length = (0..).map(|power| 1 << power).find(|length| errors.len() <= 12 * length).unwrap();
        let blocks: Vec<&[i32]> = errors.chunks(length).collect();
        let edge = |part: usize| (errors.len() * part / of + length / 2) / length;
        let first = edge(from).min(blocks.len() - 1);
        let last = edge(to).max(first + 1).min(blocks.len());
        let part = blocks[first..last].concat();
        (*part.iter().min().unwrap(), *part.iter().max().unwrap())
    }

    #[test]
    fn parts_are_those_of_the_stored_errors() {
        for count in (1..200).chain([767, 768, 769, 5000, 12_288, 12_289]) {
            let errors = errors(count);
            let mut blocks = Blocks::default();
            blocks.restart(errors[0]);
            errors[1..].iter().for_each(|error| blocks.step(*error));
            for (from, to, of) in [(2, 3, 3), (1, 2, 3), (1, 2, 2), (0, 1, 1), (4, 5, 6), (5, 6, 6)] {
                let part = blocks.part(from, to, of);
                let expected = slow(&errors, from as usize, to as usize, of as usize);
                assert_eq!((part.least, part.most), expected, "{count} errors, {from} to {to} of {of}");
            }
        }
    }

    #[test]
    fn ends_are_those_of_the_stored_errors() {
        for count in (1..60).chain([768, 769, 5000]) {
            let errors = errors(count);
            let mut blocks = Blocks::default();
            blocks.restart(errors[0]);
            errors[1..].iter().for_each(|error| blocks.step(*error));
            let length = (0..).map(|power| 1 << power).find(|length| count <= 12 * length).unwrap();
            let starts: Vec<usize> = (0..count).step_by(length).collect();
            let end = |start: &usize| {
                let end = &errors[*start..];
                (end.len() as u32, (end.iter().max().unwrap() - end.iter().min().unwrap()) as u32)
            };
            assert!(blocks.ends().eq(starts.iter().rev().map(end)), "{count} errors");
        }
    }

    #[test]
    fn many_at_once_are_as_one_by_one() {
        let errors = errors(5000);
        let mut single = Blocks::default();
        single.restart(errors[0]);
        errors[1..].iter().for_each(|error| single.step(*error));
        let mut many = Blocks::default();
        many.restart(errors[0]);
        let (mut remaining, mut length) = (&errors[1..], 1);
        while !remaining.is_empty() {
            let (now, later) = remaining.split_at(length.min(remaining.len()));
            many.add(now);
            (remaining, length) = (later, length % 256 + 17);
        }
        assert_eq!(single.part(2, 3, 3), many.part(2, 3, 3));
        assert_eq!((single.count, single.length, single.current), (many.count, many.length, many.current));
    }

    #[test]
    fn turning_points_are_in_the_part_in_which_they_were_found() {
        let mut blocks = Blocks::default();
        blocks.restart(0);
        for k in 1..4096 {
            blocks.step(0);
            if k % 512 == 500 {
                blocks.turn(usize::from(k > 2048));
            }
        }
        assert_eq!((blocks.part(0, 1, 1).turns, blocks.part(1, 2, 2).turns), ([4, 4], [0, 4]));
    }

    #[test]
    fn extreme_errors_have_a_range_and_a_middle() {
        let part = Part { least: i32::MIN, most: i32::MAX, turns: [0; 2] };
        assert_eq!((part.range(), part.middle(), part.largest()), (u32::MAX, -1, 1 << 31));
        let other = Part { least: 5, most: 9, turns: [0; 2] };
        assert_eq!((part.overlap(&other), other.overlap(&part), other.shift(&part)), (4, 4, 8));
    }
}
