//! tmp
use stillpoint::source::rehearsal::axis::{Axis, AxisData};
use stillpoint::source::rehearsal::transplanter::axes;
use stillpoint_core::sample::Reading;
use stillpoint_firmware::infer::{Infer, Limits};

const RATE: u32 = 4000;

fn ends(readings: &[Reading]) -> Vec<(u32, i32)> {
    // last change before 80 samples (20 ms) of standing
    let mut out = vec![];
    let mut last = readings[0].command;
    let mut changed = None::<u32>;
    for r in readings {
        if r.command != last {
            last = r.command;
            changed = Some(r.tick);
        } else if let Some(c) = changed && r.tick.wrapping_sub(c) > 20_000 {
            out.push((c, last));
            changed = None;
        }
    }
    out
}

#[test]
fn show() {
    for data in axes() {
      for part in [0.25, 0.5] {
      for age in [0.0, 0.5, 1.0] {
        let mut axis = Axis::new(data.clone(), 3, RATE).unwrap();
        axis.set_age(age);
        let truth: Vec<Reading> = axis.take(60 * RATE as usize).collect();
        let still = (0.05 * part * data.counts_per_unit.to_f64()) as u32;
        let limits = Limits { still, rest: 80, period: 250 };
        let mut infer = Infer::<1024>::default();
        let inferred: Vec<_> = truth.iter().filter_map(|r| infer.step(&limits, r.tick, r.feedback).map(|d| (d, infer.uncertainty()))).collect();
        let gaps = inferred.iter().filter(|d| d.0.gap).count();
        let t = ends(&truth);
        let f = ends(&inferred.iter().map(|d| d.0.reading).collect::<Vec<_>>());
        let mut errors: Vec<f64> = vec![];
        let mut un = 0; let mut z: Vec<f64> = vec![]; let mut us: Vec<f64> = vec![];
        for (at, _target) in &f {
            if let Some((true_at, _)) = t.iter().min_by_key(|(a, _)| a.abs_diff(*at)) {
                let e = (*at as f64 - *true_at as f64) / 1000.0;
                if e.abs() < 30.0 { let u = inferred.iter().find(|d| d.0.reading.tick == *at).unwrap().1 as f64 / 1000.0; us.push(u); z.push(e / u.max(0.01)); errors.push(e); } else { un += 1; }
            }
        }
        errors.sort_by(f64::total_cmp);
        println!("{} still {still} age {age}: true {} found {} unmatched {un} gaps {gaps} unfound {}", data.name, t.len(), f.len(), infer.unfound());
        if !errors.is_empty() {
        let mean = errors.iter().sum::<f64>() / errors.len() as f64;
        println!("   min {:.2} p10 {:.2} median {:.2} p90 {:.2} max {:.2} mean {mean:.2} z rms {:.2} median u {:.2} max u {:.2}", errors[0], errors[errors.len()/10], errors[errors.len()/2], errors[errors.len()*9/10], errors[errors.len()-1], (z.iter().map(|z| z*z).sum::<f64>() / z.len() as f64).sqrt(), {us.sort_by(f64::total_cmp); us[us.len()/2]}, us[us.len()-1]);
        }
      }}
    }
}
