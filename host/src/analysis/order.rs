//! In: values in a row. Out: how many pairs stand in the wrong order; ranks.

/// Pairs of which the earlier value is strictly the larger, counted while `values` are sorted by merging: O(n log n).
///
/// Values must be numbers; NaN has no order and would be counted at random.
pub fn inversions(values: &mut [f64]) -> u64 {
    let mut spare = values.to_vec();
    sort_and_count(values, &mut spare)
}

fn sort_and_count(values: &mut [f64], spare: &mut [f64]) -> u64 {
    let half = values.len() / 2;
    if half == 0 {
        return 0;
    }
    let (left_spare, right_spare) = spare.split_at_mut(half);
    let (left, right) = values.split_at_mut(half);
    let mut count = sort_and_count(left, left_spare) + sort_and_count(right, right_spare);
    let (mut from_left, mut from_right) = (0, 0);
    for place in spare.iter_mut() {
        let take_right = match (left.get(from_left), right.get(from_right)) {
            (Some(l), Some(r)) => r < l,
            (None, _) => true,
            (_, None) => false,
        };
        if take_right {
            *place = right[from_right];
            from_right += 1;
            count += (left.len() - from_left) as u64;
        } else {
            *place = left[from_left];
            from_left += 1;
        }
    }
    values.copy_from_slice(spare);
    count
}

/// Ranks from 1, ties sharing their mean rank; and the sizes of the groups of equal values.
pub fn ranks(values: &[f64]) -> (Vec<f64>, Vec<usize>) {
    let mut order: Vec<usize> = (0..values.len()).collect();
    order.sort_by(|a, b| values[*a].total_cmp(&values[*b]));
    let (mut ranks, mut groups) = (vec![0.0; values.len()], Vec::new());
    for group in order.chunk_by(|a, b| values[*a] == values[*b]) {
        let before: usize = groups.iter().sum();
        for place in group {
            ranks[*place] = before as f64 + (group.len() + 1) as f64 / 2.0;
        }
        groups.push(group.len());
    }
    (ranks, groups)
}

/// The values with a number beyond all others in place of +∞, for methods that need differences: as far beyond the
/// largest as that is from the smallest or from 0, whichever is more.
pub fn numbers(values: &[f64]) -> Vec<f64> {
    let finite = || values.iter().copied().filter(|value| value.is_finite());
    let (least, most) = (finite().fold(0.0, f64::min), finite().fold(0.0, f64::max));
    let beyond = most + (most - least).max(f64::MIN_POSITIVE);
    values.iter().map(|value| if *value == f64::INFINITY { beyond } else { *value }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn inversions_are_those_a_slow_count_finds() {
        let check = |values: &[f64]| {
            let slow: usize = (0..values.len())
                .map(|i| values[i..].iter().filter(|later| **later < values[i]).count())
                .sum();
            let mut sorted = values.to_vec();
            assert_eq!(inversions(&mut sorted), slow as u64, "{values:?}");
            assert!(sorted.is_sorted());
        };
        check(&[]);
        check(&[1.0]);
        check(&[3.0, 2.0, 1.0]);
        check(&[1.0, 1.0, 0.0, 2.0, 0.0, 1.0]);
        let many: Vec<f64> = (0..501_u64).map(|i| (i * 7919 % 97) as f64).collect();
        check(&many);
    }

    #[test]
    fn ties_share_their_rank() {
        assert_eq!(ranks(&[2.0, 1.0, 2.0, 5.0]), (vec![2.5, 1.0, 2.5, 4.0], vec![1, 2, 1]));
        assert_eq!(ranks(&[]), (vec![], vec![]));
    }

    #[test]
    fn numbers_keep_the_order() {
        let check = |values: &[f64], expected: &[f64]| assert_eq!(numbers(values), expected, "{values:?}");
        check(&[2.0, f64::INFINITY, 1.0, f64::INFINITY], &[2.0, 4.0, 1.0, 4.0]);
        check(&[-1.0, f64::INFINITY, 2.0], &[-1.0, 5.0, 2.0]);
        check(&[f64::INFINITY; 2], &[f64::MIN_POSITIVE; 2]);
        check(&[0.5], &[0.5]);
    }
}
