//! In: the error at every sample of a stop. Out: the samples that hold its oscillations, and fewer points to search by.

/// Fewest samples.
const FEWEST: usize = 64;
/// Most samples that are looked at: a search's last passes go over all of them.
pub const MOST: usize = 1 << 15;
/// Most points that a search goes over.
const POINTS: usize = 512;
/// The second half of a stop at rest ranges over less than this share of the first.
const STILL: f64 = 0.05;

/// The samples up to where the stop has come to rest; none if they are too few.
pub(super) fn stretch(errors: &[f64]) -> Option<&[f64]> {
    let errors = &errors[..errors.len().min(MOST)];
    let mut count = 2 * FEWEST;
    while count < errors.len() && !is_at_rest(&errors[..count]) {
        count *= 2;
    }
    let stretch = &errors[..count.min(errors.len())];
    (stretch.len() >= FEWEST).then_some(stretch)
}

/// Whether the second half ranges over less than a share of the first, or over little more than noise.
fn is_at_rest(errors: &[f64]) -> bool {
    let (first, second) = errors.split_at(errors.len() / 2);
    let (early, late) = (range(first), range(second));
    late < STILL * early || late < 6.0 * noise(second) && 2.0 * late < early
}

fn range(errors: &[f64]) -> f64 {
    let ends = errors
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |ends, error| (ends.0.min(*error), ends.1.max(*error)));
    ends.1 - ends.0
}

/// Standard deviation of noise, from second differences.
fn noise(errors: &[f64]) -> f64 {
    let second = errors.windows(3).map(|three| (three[0] - 2.0 * three[1] + three[2]).abs());
    // Of normal noise their mean size is √(12/π) standard deviations.
    second.sum::<f64>() / (errors.len() as f64 - 2.0).max(1.0) / 1.954
}

/// Means of so many samples each that the points are few enough; and how many that are.
pub(super) fn points(errors: &[f64], most: usize) -> (Vec<f64>, usize) {
    let each = errors.len().div_ceil(most);
    (errors.chunks_exact(each).map(|chunk| chunk.iter().sum::<f64>() / each as f64).collect(), each)
}

/// Points for a search.
pub(super) fn search_points(errors: &[f64]) -> (Vec<f64>, usize) {
    points(errors, POINTS)
}
