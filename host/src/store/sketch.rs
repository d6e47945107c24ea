//! In: settling times. Out: their quantiles to 1 %, in a few hundred bytes that can be merged with others.
//!
//! Counts per logarithmic bin (DDSketch, Masson, Rim, Lee, PVLDB 12, 2019; bins by `sketches-ddsketch`). Bins are
//! sorted, and none is collapsed, because 64-bit nanoseconds have few bins. So the bytes depend on what was added and
//! not on its order, and to merge two sketches is to add their counts.

use sketches_ddsketch::Config;

pub use crate::analysis::quantile::rank;

/// A quantile is at most this far from the exact one of the same rank, as a share of it.
pub const RELATIVE_ERROR: f64 = 0.01;

/// Bin of settling times of 0.
const ZERO: i32 = i32::MIN;

/// Layout of the bytes.
const VERSION: u8 = 1;

/// The bins: from a settling time to its bin and back.
#[derive(Clone, Copy, Debug)]
pub struct Bins(Config);

impl Default for Bins {
    fn default() -> Bins {
        Bins(Config::new(RELATIVE_ERROR, 4096, 1.0))
    }
}

impl Bins {
    /// The bin of a settling time. Unit: ns
    pub fn bin(&self, settling: i64) -> i32 {
        if settling <= 0 { ZERO } else { self.0.key(settling as f64) }
    }

    fn value(&self, bin: i32) -> i64 {
        if bin == ZERO { 0 } else { self.0.value(bin).round() as i64 }
    }
}

/// Counts per bin, sorted by bin.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Sketch {
    counts: Vec<(i32, u64)>,
}

impl Sketch {
    /// Adds `count` settling times of a bin.
    pub fn add(&mut self, bin: i32, count: u64) {
        match self.counts.binary_search_by_key(&bin, |entry| entry.0) {
            Ok(place) => {
                if let Some(entry) = self.counts.get_mut(place) {
                    entry.1 = entry.1.saturating_add(count);
                }
            }
            Err(place) => self.counts.insert(place, (bin, count)),
        }
    }

    /// Adds the counts of another sketch.
    pub fn merge(&mut self, other: &Sketch) {
        other.counts.iter().for_each(|(bin, count)| self.add(*bin, *count));
    }

    /// Number of settling times.
    pub fn count(&self) -> u64 {
        self.counts.iter().fold(0, |sum, entry| sum.saturating_add(entry.1))
    }

    /// The settling time of rank ⌊share · (count − 1)⌋, counted from 0, to [`RELATIVE_ERROR`]. Unit: ns
    pub fn quantile(&self, bins: &Bins, share: f64) -> Option<i64> {
        self.ranked(bins, rank(share, self.count())?)
    }

    /// The settling time of a rank from 0, to [`RELATIVE_ERROR`]; none beyond the last. Unit: ns
    pub fn ranked(&self, bins: &Bins, rank: u64) -> Option<i64> {
        let mut below = 0_u64;
        let found = self.counts.iter().find(|(_, count)| {
            below = below.saturating_add(*count);
            below > rank
        });
        found.map(|(bin, _)| bins.value(*bin))
    }

    /// As bytes: the version, then the distance to the bin before and the count, each as a varint.
    pub fn to_bytes(&self) -> Vec<u8> {
        let (mut bytes, mut before) = (vec![VERSION], i64::from(ZERO));
        for (bin, count) in &self.counts {
            push(&mut bytes, (i64::from(*bin) - before) as u64);
            push(&mut bytes, *count);
            before = i64::from(*bin);
        }
        bytes
    }

    /// From bytes; none if they are no sketch.
    pub fn from_bytes(bytes: &[u8]) -> Option<Sketch> {
        let (VERSION, mut rest) = bytes.split_first().map(|(version, rest)| (*version, rest))? else {
            return None;
        };
        let (mut sketch, mut before) = (Sketch::default(), i64::from(ZERO));
        while !rest.is_empty() {
            let bin = before.checked_add(i64::try_from(pop(&mut rest)?).ok()?)?;
            sketch.counts.push((i32::try_from(bin).ok()?, pop(&mut rest)?));
            before = bin;
        }
        sketch.counts.is_sorted_by(|a, b| a.0 < b.0).then_some(sketch)
    }
}

/// Seven bits a byte, the lowest first.
fn push(bytes: &mut Vec<u8>, mut value: u64) {
    while value > 0x7F {
        bytes.push(value as u8 | 0x80);
        value >>= 7;
    }
    bytes.push(value as u8);
}

fn pop(bytes: &mut &[u8]) -> Option<u64> {
    let mut value = 0_u64;
    for place in 0..10 {
        let (byte, rest) = bytes.split_first()?;
        *bytes = rest;
        value |= u64::from(byte & 0x7F).checked_shl(7 * place)?;
        if byte & 0x80 == 0 {
            return Some(value);
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use sketches_ddsketch::DDSketch;

    fn times() -> impl Iterator<Item = i64> {
        (0..5000_i64).map(|k| k * k * 7919 % 90_000_017 * i64::from(k % 50 != 0))
    }

    #[test]
    fn quantiles_are_those_of_the_library_and_within_the_stated_error() {
        let bins = Bins::default();
        let (mut sketch, mut other) = (Sketch::default(), DDSketch::new(bins.0));
        let mut all: Vec<i64> = times().collect();
        for settling in &all {
            sketch.add(bins.bin(*settling), 1);
            other.add(*settling as f64);
        }
        all.sort_unstable();
        for share in [0.02, 0.1, 0.25, 0.5, 0.95, 0.99] {
            let found = sketch.quantile(&bins, share).unwrap() as f64;
            let exact = all[(share * (all.len() - 1) as f64) as usize] as f64;
            assert!((found - exact).abs() <= RELATIVE_ERROR * exact + 0.5, "{share}: {found} {exact}");
            let theirs = other.quantile(share).unwrap().unwrap();
            assert!((found - theirs).abs() <= 1.0, "{share}: {found} {theirs}");
        }
    }

    #[test]
    fn the_bytes_do_not_depend_on_order_or_merging() {
        let bins = Bins::default();
        let of = |times: Vec<i64>| {
            let mut sketch = Sketch::default();
            times.iter().for_each(|settling| sketch.add(bins.bin(*settling), 1));
            sketch
        };
        let whole = of(times().collect());
        let mut merged = of(times().skip(1000).collect());
        merged.merge(&of(times().take(1000).collect()));
        assert_eq!(whole.to_bytes(), merged.to_bytes());
        assert_eq!(Sketch::from_bytes(&whole.to_bytes()), Some(whole));
    }

    #[test]
    fn other_bytes_are_no_sketch() {
        let mut bytes = vec![VERSION, 5, 1, 0, 1];
        assert_eq!(Sketch::from_bytes(&bytes), None, "bins out of order");
        bytes.truncate(2);
        assert_eq!(Sketch::from_bytes(&bytes), None, "cut");
        assert_eq!(Sketch::from_bytes(&[]), None);
        assert_eq!(Sketch::from_bytes(&[9]), None);
        assert_eq!(Sketch::from_bytes(&[VERSION; 30].map(|byte| byte | 0xFF)), None);
        assert_eq!(Sketch::default().quantile(&Bins::default(), 0.5), None);
    }
}
