//! Constants and quantiles of published group 04 that belong to samples of a normal variable: exactly, by
//! integrals of this repository, and through the shipped moments over simulated samples.

use stillpoint_tests::chance::Chance;
use stillpoint_tests::distribution::{chi_square, mean_deviation, range, student, variance_ratio};
use stillpoint_tests::moments::Moments;
use stillpoint_tests::normal;
use stillpoint_tests::published::{json, near, rows};
use stillpoint_tests::scatter::{Scatter, Shape};

/// The moments accept whole numbers: deviates in millionths.
const MILLIONTHS: f64 = 1e6;

fn millionths(value: f64) -> i64 {
    (value * MILLIONTHS).round() as i64
}

/// Mean and deviation of the range, and mean deviation, over `samples` samples of `count` values. Unit: deviations
fn simulated(count: usize, samples: usize) -> [f64; 3] {
    let mut scatter = Scatter::new(Shape::Normal(0.1), 0.0, 21);
    let (mut ranges, mut deviations) = (Moments::default(), Moments::default());
    for _ in 0..samples {
        let values: Vec<i64> = (0..count).map(|_| millionths(scatter.deviate().into())).collect();
        let mut moments = Moments::default();
        values.iter().for_each(|value| moments.step(*value));
        ranges.step(values.iter().max().unwrap() - values.iter().min().unwrap());
        deviations.step(moments.deviation().unwrap().round() as i64);
    }
    [ranges.mean(), ranges.deviation(), deviations.mean()].map(|found| found.unwrap() / MILLIONTHS)
}

/// Source: every textbook's table; the file's figures are integrals, too. Four standard errors for the samples.
#[test]
fn control_chart_constants() {
    let rows = rows("published/04_control_chart_constants.csv");
    assert_eq!(rows.len(), 9);
    for row in rows {
        let n = row.number("n");
        let ((d2, d3), c4) = (range(n), mean_deviation(n));
        for (column, found) in [
            ("d2", d2),
            ("d3", d3),
            ("c4", c4),
            ("A2", 3.0 / (d2 * n.sqrt())),
            ("D3", (1.0 - 3.0 * d3 / d2).max(0.0)),
            ("D4", 1.0 + 3.0 * d3 / d2),
        ] {
            near(found, row.number(column), 1e-9, &format!("n {n}: {column}"));
        }
        let samples = 100_000;
        let error = 4.0 / f64::from(samples).sqrt();
        let [mean, deviation, of_deviation] = simulated(n as usize, samples as usize);
        near(mean, row.number("d2"), error * d3, "d2 of samples");
        near(deviation, row.number("d3"), error * d3, "d3 of samples");
        near(of_deviation, row.number("c4"), error * (1.0 - c4 * c4).sqrt(), "c4 of samples");
    }
}

/// Mean and variance of a sample by the shipped moments. Unit: deviations
fn sample(chance: &mut Chance, count: u32) -> (f64, f64) {
    let mut moments = Moments::default();
    (0..count).for_each(|_| moments.step(millionths(chance.normal())));
    (moments.mean().unwrap() / MILLIONTHS, moments.variance().unwrap() / (MILLIONTHS * MILLIONTHS))
}

/// Of 20,000 figures made of samples, `part` must lie below `quantile`, to four standard errors.
fn check(what: &str, part: f64, quantile: f64, mut figure: impl FnMut(&mut Chance) -> f64) {
    let (mut chance, count) = (Chance::new(31), 20_000);
    let under = (0..count).filter(|_| figure(&mut chance) < quantile).count();
    let count = f64::from(count);
    near(under as f64 / count, part, 4.0 * (part * (1.0 - part) / count).sqrt(), what);
}

/// Fails unless the published quantile is right to 1e-9 of itself.
fn bracket(what: &str, part: f64, quantile: f64, below: impl Fn(f64) -> f64) {
    let [low, high] = [1.0 - 1e-9, 1.0 + 1e-9].map(|factor| below(factor * quantile));
    assert!(low < part && part < high, "{what}: {quantile} has {low} to {high} below it, not {part}");
}

/// Source: scipy 1.17.1.
#[test]
fn quantiles_of_what_samples_give() {
    let published = json("published/04_distribution_quantiles.json");
    let table = |name: &str| {
        let entries = published[name].as_object().expect("a table").iter();
        entries.map(|(key, value)| (key.clone(), value.as_f64().expect("a number"))).collect::<Vec<_>>()
    };
    for (p, quantile) in table("normal_quantile") {
        near(normal::quantile(p.parse().unwrap()), quantile, 1e-9, &p);
        check(&p, p.parse().unwrap(), quantile, Chance::normal);
    }
    for (name, part) in [("chi2_975", 0.975), ("chi2_025", 0.025)] {
        for (freedom, quantile) in table(name) {
            let count: u32 = freedom.parse().unwrap();
            bracket(&freedom, part, quantile, |square| chi_square(count.into(), square));
            check(&freedom, part, quantile, |chance| f64::from(count) * sample(chance, count + 1).1);
        }
    }
    for (freedom, quantile) in table("t_quantile_975") {
        let count: u32 = freedom.parse().unwrap();
        bracket(&freedom, 0.975, quantile, |t| student(count.into(), t));
        check(&freedom, 0.975, quantile, |chance| {
            let (mean, variance) = sample(chance, count + 1);
            mean / (variance / f64::from(count + 1)).sqrt()
        });
    }
    for (freedoms, quantile) in table("F_95") {
        let counts = freedoms.split_once(',').unwrap();
        let (above, below): (u32, u32) = (counts.0.parse().unwrap(), counts.1.parse().unwrap());
        bracket(&freedoms, 0.95, quantile, |ratio| variance_ratio(above.into(), below.into(), ratio));
        check(&freedoms, 0.95, quantile, |chance| sample(chance, above + 1).1 / sample(chance, below + 1).1);
    }
}
