//! In: the places of very many moves in a picture. Out: those that show, and how many lie at each height.

use std::collections::{BTreeMap, HashSet};

/// A place. Unit: pixel
type Place = (f64, f64);

/// Of places in one cell of a grid only the first; of every column of cells also the highest and the lowest. So no extreme
/// is lost, and what is dropped lies within a cell of what is drawn. In the order given.
pub(super) fn thinned(places: &[Place], cell: f64) -> Vec<Place> {
    let at = |value: f64| (value / cell).floor() as i64;
    let mut extremes: BTreeMap<i64, [usize; 2]> = BTreeMap::new();
    for (index, (x, y)) in places.iter().enumerate() {
        let [low, high] = extremes.entry(at(*x)).or_insert([index; 2]);
        *low = if *y < places[*low].1 { index } else { *low };
        *high = if *y > places[*high].1 { index } else { *high };
    }
    let mut drawn: Vec<usize> = extremes.into_values().flatten().collect();
    let mut occupied: HashSet<(i64, i64)> =
        drawn.iter().map(|index| (at(places[*index].0), at(places[*index].1))).collect();
    let others = places.iter().enumerate().filter(|(_, (x, y))| occupied.insert((at(*x), at(*y))));
    drawn.extend(others.map(|(index, _)| index));
    drawn.sort_unstable();
    drawn.dedup();
    drawn.into_iter().map(|index| places[index]).collect()
}

/// How many of `values` lie in each of `count` equal parts of 0 to `top`; larger ones are in the last.
pub(super) fn counts(values: impl Iterator<Item = f64>, top: f64, count: usize) -> Vec<usize> {
    let mut counts = vec![0; count];
    for value in values {
        let at = (value / top * count as f64).max(0.0) as usize;
        if let Some(of) = counts.get_mut(at.min(count.saturating_sub(1))) {
            *of += 1;
        }
    }
    counts
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A hundred thousand places without order.
    fn many() -> Vec<Place> {
        let spread = |i: u64, seed: u64| ((i * 2 + 1).wrapping_mul(seed) >> 20) as f64 / (1_u64 << 44) as f64;
        (0..100_000)
            .map(|i| {
                (
                    i as f64 * 0.006,
                    200.0 * spread(i, 0x9E37_79B9_7F4A_7C15) * spread(i, 0xD1B5_4A32_D192_ED03),
                )
            })
            .collect()
    }

    #[test]
    fn what_is_dropped_lies_beside_what_is_drawn_and_extremes_stay() {
        let (places, cell) = (many(), 4.0);
        let drawn = thinned(&places, cell);
        assert!(drawn.len() < 150 * 52 && drawn.is_sorted_by(|a, b| a.0 <= b.0), "{}", drawn.len());
        let cells: HashSet<(i64, i64)> =
            drawn.iter().map(|(x, y)| ((x / cell) as i64, (y / cell) as i64)).collect();
        assert!(places.iter().all(|(x, y)| cells.contains(&((x / cell) as i64, (y / cell) as i64))));
        // The slow twin: the extremes of each column, one column at a time.
        for column in 0..150 {
            let within = |place: &&Place| (place.0 / cell) as i64 == column;
            for choose in [f64::min, f64::max] {
                let of = |all: &[Place]| all.iter().filter(within).map(|place| place.1).reduce(choose);
                assert_eq!(of(&drawn), of(&places), "{column}");
            }
        }
    }

    #[test]
    fn few_places_stay_as_they_are() {
        let few = [(1.0, 5.0), (9.0, 2.0), (17.0, 8.0)];
        assert_eq!(thinned(&few, 4.0), few);
        assert!(thinned(&[], 4.0).is_empty());
    }

    #[test]
    fn each_value_is_counted_once() {
        assert_eq!(counts([0.0, 0.9, 1.0, 3.99, 4.0, 9.0, -1.0].into_iter(), 4.0, 4), [3, 1, 0, 3]);
        assert!(counts([1.0].into_iter(), 1.0, 0).is_empty());
    }
}
