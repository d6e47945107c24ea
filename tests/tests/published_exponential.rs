//! Sums of exponentials of published group 04: their certified figures from their data by the twin of the tests, and
//! as the errors of a stop through the shipped settling curve.

use serde_json::Value;
use stillpoint_core::{CurvePoint, Parameters};
use stillpoint_tests::exponential::{Fit, fit};
use stillpoint_tests::published::{json, near, numbers, rows};
use stillpoint_tests::run::{run, steady};

type Model = fn(f64, &[f64]) -> f64;

/// y = b1 (1 − e^(−b2 x)).
fn rising(x: f64, b: &[f64]) -> f64 {
    b[0] * (1.0 - (-b[1] * x).exp())
}

/// y = b1 e^(−b2 x) + b3 e^(−b4 x) + …
fn falling(x: f64, b: &[f64]) -> f64 {
    b.chunks(2).map(|pair| pair[0] * (-pair[1] * x).exp()).sum()
}

/// Name, model, and by parameter: two starts, certified figure, its deviation.
fn sets() -> Vec<(String, Model, Vec<Vec<f64>>, Value)> {
    let file = json("published/04_nist_strd_exponential.json");
    let set = |set: &Value| {
        let name = set["name"].as_str().expect("a name").to_owned();
        let (words, model): (_, Model) = match name.as_str() {
            "Misra1a" => ("y=b1*(1-exp(-b2*x))", rising),
            _ => ("y=b1*exp(-b2*x)+b3*exp(-b4*x)+b5*exp(-b6*x)", falling),
        };
        assert_eq!(file["models"][&name], words, "{name}");
        let columns =
            set["start1_start2_certified_sd"].as_array().expect("rows").iter().map(numbers).collect();
        (name, model, columns, set.clone())
    };
    file["sets"].as_array().expect("sets").iter().map(set).collect()
}

/// Source: NIST StRD, nonlinear regression; certified to eleven digits. MGH17 is a model without data here.
#[test]
fn certified_figures() {
    for (name, model, columns, set) in sets() {
        let data = format!("published/{}", set["file"].as_str().expect("a file"));
        let points: Vec<(f64, f64)> =
            rows(&data).iter().map(|row| (row.number("x"), row.number("y"))).collect();
        for start in 0..2 {
            let start: Vec<f64> = columns.iter().map(|parameter| parameter[start]).collect();
            let Fit { parameters, deviations, squares } = fit(&points, model, &start);
            for (k, certified) in columns.iter().enumerate() {
                let what = format!("{name}, b{}", k + 1);
                near(parameters[k] / certified[2], 1.0, 1e-6, &what);
                near(deviations[k] / certified[3], 1.0, 1e-6, &what);
            }
            near(squares / set["rss_recomputed"].as_f64().expect("a number"), 1.0, 1e-6, &name);
            let printed = set["header"].as_str().and_then(|words| words.split_whitespace().last());
            near(squares / printed.expect("a number").parse::<f64>().expect("a number"), 1.0, 1e-6, &name);
        }
    }
}

/// Unit: counts
const TRAVEL: f64 = (1 << 28) as f64;
/// Unit: ticks
const PERIOD: u32 = 1000;
const SAMPLES: usize = 20_000;

/// The settling curve of a stop whose error falls from the whole travel; `error` is its share at a sample, 1 to 0.
fn curve(error: impl Fn(usize) -> f64) -> Vec<CurvePoint> {
    let feedback = |k: usize| (TRAVEL * (1.0 - error(k))).round() as i32;
    let stop = (0..SAMPLES).map(|k| (TRAVEL as i32, feedback(k)));
    let signals = std::iter::repeat_n((0, 0), 100).chain(stop);
    let parameters = Parameters {
        window: TRAVEL as u32 / 100,
        window_time: 0,
        rest_time: 20 * PERIOD,
        jump: u32::MAX,
        synchronous: true,
        ..Parameters::at(1_000_000)
    };
    let moves = run(parameters, steady(PERIOD, signals)).moves;
    assert_eq!(moves.len(), 1);
    moves[0].curve.clone()
}

/// The certified exponentials as errors: each window's settling time is where they fall below it, to the sample, and
/// the rate read off the curve of the single one is the certified one.
#[test]
fn the_shipped_curve_of_certified_exponentials() {
    for (name, model, columns, _) in sets() {
        let b: Vec<f64> = columns.iter().map(|parameter| parameter[2]).collect();
        // The slowest dies away to e⁻¹² within the samples.
        let rate = b.chunks(2).map(|pair| pair[1]).fold(f64::INFINITY, f64::min);
        let dt = 12.0 / rate / SAMPLES as f64;
        let error = |x: f64| {
            if name == "Misra1a" { 1.0 - model(x, &b) / b[0] } else { model(x, &b) / model(0.0, &b) }
        };
        let curve = curve(|k| error(k as f64 * dt));
        let settled: Vec<(f64, f64)> = curve
            .iter()
            .filter_map(|point| Some((f64::from(point.settling? / PERIOD), f64::from(point.window))))
            .collect();
        assert!(settled.len() > 60, "{name}: {} windows settle", settled.len());
        for (sample, window) in settled.iter().filter(|(sample, _)| *sample > 0.0) {
            let [here, before] = [*sample, sample - 1.0].map(|sample| TRAVEL * error(sample * dt));
            assert!(
                here <= window + 0.5 && before >= window - 0.5,
                "{name}: {window} at {sample}: {before} {here}"
            );
        }
        if b.len() == 2 {
            // Half a sample earlier on average; a window at the start gives no result yet.
            let points: Vec<(f64, f64)> = settled
                .iter()
                .filter(|(sample, _)| *sample > 0.0)
                .map(|(sample, window)| ((sample - 0.5) * dt, window / TRAVEL))
                .collect();
            let found = fit(&points, falling, &[1.0, 1.1 * b[1]]);
            println!("{name}: rate {} from the curve, certified {}", found.parameters[1], b[1]);
            near(found.parameters[1] / b[1], 1.0, 1e-3, &name);
        }
    }
}
