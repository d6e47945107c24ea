//! In: a chart and a shift. Out: its average run length, by Nyström's method on Page's integral equation.
//!
//! Shares nothing with the core. Sources: E. S. Page 1954; S. V. Crowder 1987 (EWMA); J. M. Lucas and
//! R. B. Crosier 1982 (two sides and the head start).

use crate::linear;
use crate::normal::{below, density, gauss_legendre};

const NODES: usize = 80;

/// Average run length of a one-sided CUSUM that starts at `start`.
pub fn one_sided(k: f64, h: f64, shift: f64, start: f64) -> f64 {
    let grid: Vec<(f64, f64)> =
        gauss_legendre(NODES).iter().map(|(x, weight)| (h / 2.0 * (x + 1.0), weight * h / 2.0)).collect();
    // The first unknown is the length from 0, which has a mass of its own.
    let row = |from: f64| -> Vec<f64> {
        let mut row = vec![below(k - from - shift)];
        row.extend(grid.iter().map(|(to, weight)| weight * density(to + k - from - shift)));
        row
    };
    let places = std::iter::once(0.0).chain(grid.iter().map(|node| node.0));
    let lengths = solve(places.map(row).collect());
    1.0 + row(start).iter().zip(&lengths).map(|(part, length)| part * length).sum::<f64>()
}

/// Two sides, both starting at `start`.
pub fn two_sided(k: f64, h: f64, shift: f64, start: f64) -> f64 {
    let (up, down) = (one_sided(k, h, shift, 0.0), one_sided(k, h, -shift, 0.0));
    let (up_from, down_from) = (one_sided(k, h, shift, start), one_sided(k, h, -shift, start));
    (up_from * down + down_from * up - up * down) / (up + down)
}

/// A two-sided EWMA with fixed limits at ±`limit` of its own steady deviations.
pub fn ewma(lambda: f64, limit: f64, shift: f64) -> f64 {
    let edge = limit * (lambda / (2.0 - lambda)).sqrt();
    let grid: Vec<(f64, f64)> =
        gauss_legendre(NODES).iter().map(|(x, weight)| (edge * x, weight * edge)).collect();
    let row = |from: f64| -> Vec<f64> {
        let kernel = |to: f64| density((to - (1.0 - lambda) * from) / lambda - shift) / lambda;
        grid.iter().map(|(to, weight)| weight * kernel(*to)).collect()
    };
    let lengths = solve(grid.iter().map(|node| row(node.0)).collect());
    1.0 + row(0.0).iter().zip(&lengths).map(|(part, length)| part * length).sum::<f64>()
}

/// The same with limits that start narrow, as the deviation of the average itself does.
pub fn ewma_narrow_start(lambda: f64, limit: f64, shift: f64) -> f64 {
    let nodes = gauss_legendre(NODES);
    let edge = |n: i32| limit * (lambda / (2.0 - lambda) * (1.0 - (1.0 - lambda).powi(2 * n))).sqrt();
    let kernel = |from: f64, to: f64| density((to - (1.0 - lambda) * from) / lambda - shift) / lambda;
    let mut heights: Vec<f64> = nodes.iter().map(|(x, _)| kernel(0.0, edge(1) * x)).collect();
    let (mut length, mut running, mut part_before) = (1.0, 1.0, 0.0);
    for n in 1.. {
        let mass: Vec<f64> =
            heights.iter().zip(&nodes).map(|(height, node)| height * node.1 * edge(n)).collect();
        let now: f64 = mass.iter().sum();
        let part = now / running;
        length += now;
        // Once the same part is lost at every step, the rest is a geometric series.
        if now < 1e-13 || n > 3 && (part - part_before).abs() < 1e-13 && edge(n + 1) - edge(n) < 1e-14 {
            return length + now * part / (1.0 - part);
        }
        (running, part_before) = (now, part);
        let onto = |x: f64| {
            mass.iter().zip(&nodes).map(|(m, node)| m * kernel(edge(n) * node.0, edge(n + 1) * x)).sum()
        };
        heights = nodes.iter().map(|(x, _)| onto(*x)).collect();
    }
    unreachable!("the loop has no end of its own")
}

/// The same one-sided CUSUM from 0, while the mean grows by `slope` after every value.
pub fn one_sided_ramp(k: f64, h: f64, slope: f64) -> f64 {
    let grid = gauss_legendre(NODES).into_iter().map(|(x, weight)| (h / 2.0 * (x + 1.0), weight * h / 2.0));
    carried(grid, slope, |from, to, shift| match to {
        Place::Start => below(k - from - shift),
        Place::Node(to, weight) => weight * density(to + k - from - shift),
    })
}

/// The same two-sided EWMA with fixed limits, while the mean grows by `slope` after every value.
pub fn ewma_ramp(lambda: f64, limit: f64, slope: f64) -> f64 {
    let edge = limit * (lambda / (2.0 - lambda)).sqrt();
    let grid = gauss_legendre(NODES).into_iter().map(|(x, weight)| (edge * x, weight * edge));
    carried(grid, slope, |from, to, shift| match to {
        Place::Start => 0.0,
        Place::Node(to, weight) => weight * density((to - (1.0 - lambda) * from) / lambda - shift) / lambda,
    })
}

/// State of a chart: its start, which may have a probability mass of its own, or near a node.
#[derive(Clone, Copy)]
enum Place {
    Start,
    Node(f64, f64),
}

/// Carries the runs that have not signalled from value to value; `kernel` is the share that moves between two places.
fn carried(
    grid: impl Iterator<Item = (f64, f64)>,
    slope: f64,
    kernel: impl Fn(f64, Place, f64) -> f64,
) -> f64 {
    let nodes = grid.map(|(place, weight)| Place::Node(place, weight));
    let places: Vec<Place> = std::iter::once(Place::Start).chain(nodes).collect();
    let mut running: Vec<f64> =
        places.iter().map(|place| f64::from(u8::from(matches!(place, Place::Start)))).collect();
    let mut length = 1.0;
    for step in 0.. {
        let shift = slope * f64::from(step);
        let onto = |to: &Place| {
            let part = |(from, mass): (&Place, &f64)| match from {
                Place::Start => mass * kernel(0.0, *to, shift),
                Place::Node(from, _) => mass * kernel(*from, *to, shift),
            };
            places.iter().zip(&running).map(part).sum()
        };
        running = places.iter().map(onto).collect();
        let all: f64 = running.iter().sum();
        length += all;
        if all < 1e-13 {
            return length;
        }
    }
    unreachable!("a ramp ends every run")
}

/// What the shipped limits are made from. Source: D. Siegmund, "Sequential Analysis", 1985, 2.51.
pub fn siegmund(k: f64, h: f64, shift: f64) -> f64 {
    let (ahead, high) = (k - shift, h + 1.166);
    let y = 2.0 * ahead * high;
    if ahead == 0.0 { high * high } else { (y.exp() - y - 1.0) / (2.0 * ahead * ahead) }
}

/// The h at which a two-sided CUSUM has a run length.
pub fn limit_for(k: f64, run_length: f64) -> f64 {
    let (mut low, mut high) = (0.5, 20.0);
    for _ in 0..40 {
        let middle = (low + high) / 2.0;
        if two_sided(k, middle, 0.0, 0.0) < run_length { low = middle } else { high = middle }
    }
    low
}

/// Solves x = 1 + A x.
fn solve(mut kernel: Vec<Vec<f64>>) -> Vec<f64> {
    for (k, row) in kernel.iter_mut().enumerate() {
        row.iter_mut().for_each(|cell| *cell = -*cell);
        row[k] += 1.0;
    }
    linear::solve(&kernel, &vec![1.0; kernel.len()])
}
