//! In: values in a row. Out: the number of pairs in the wrong order; ranks.

/// Pairs whose earlier value is strictly larger, counted by merge sort in O(n log n). Sorts `values`.
///
/// NaN has no order, so values must not be NaN.
pub fn inversions(values: &mut [f64]) -> u64 {
    let mut spare = values.to_vec();
    sort_and_count(values, &mut spare)
}

fn sort_and_count(values: &mut [f64], spare: &mut [f64]) -> u64 {
    let half = values.len() / 2;
    if half == 0 {
        return 0;
    }
    let (lower_spare, upper_spare) = spare.split_at_mut(half);
    let (lower, upper) = values.split_at_mut(half);
    let mut count = sort_and_count(lower, lower_spare) + sort_and_count(upper, upper_spare);
    let (mut from_lower, mut from_upper) = (0, 0);
    for place in spare.iter_mut() {
        let upper_is_next = match (lower.get(from_lower), upper.get(from_upper)) {
            (Some(lower), Some(upper)) => upper < lower,
            (None, _) => true,
            (_, None) => false,
        };
        if upper_is_next {
            *place = upper[from_upper];
            from_upper += 1;
            count += (lower.len() - from_lower) as u64;
        } else {
            *place = lower[from_lower];
            from_lower += 1;
        }
    }
    values.copy_from_slice(spare);
    count
}

/// Ranks from 1, where ties share their mean rank; and the sizes of the groups of equal values.
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

/// The values with +∞ replaced by a number beyond all others, for methods that need differences. The number lies as far
/// beyond the largest as the largest lies from the smallest or from 0, whichever is more.
pub fn finite_values(values: &[f64]) -> Vec<f64> {
    let finite = || values.iter().copied().filter(|value| value.is_finite());
    let (least, most) = (finite().fold(0.0, f64::min), finite().fold(0.0, f64::max));
    let beyond = most + (most - least).max(f64::MIN_POSITIVE);
    values.iter().map(|value| if *value == f64::INFINITY { beyond } else { *value }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn inversions_equal_the_slow_twin() {
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
    fn finite_values_keep_the_order() {
        let check =
            |values: &[f64], expected: &[f64]| assert_eq!(finite_values(values), expected, "{values:?}");
        check(&[2.0, f64::INFINITY, 1.0, f64::INFINITY], &[2.0, 4.0, 1.0, 4.0]);
        check(&[-1.0, f64::INFINITY, 2.0], &[-1.0, 5.0, 2.0]);
        check(&[f64::INFINITY; 2], &[f64::MIN_POSITIVE; 2]);
        check(&[0.5], &[0.5]);
    }
}
