//! In: invented situations. Out: files in /tmp/plotlook to look at; not committed.
use super::fake::{self, Shape};
use super::{Sheet, Shown, Stretch, html, png, svg};
use crate::report::line::MoveLine;
type Move = (MoveLine, Stretch);

fn one(number: u32, shape: Shape, rest: f64, scale: f64, edit: impl Fn(&mut MoveLine)) -> Move {
    let mut points = fake::points(shape, rest, number);
    let mut line = fake::measured(number, &points);
    for p in &mut points {
        p.1 *= scale;
    }
    for v in [
        &mut line.window,
        &mut line.travel,
        &mut line.overshoot,
        &mut line.peak_following_error,
        &mut line.error_at_command_end,
    ] {
        *v *= scale;
    }
    for v in [&mut line.rest_error, &mut line.rest_noise_rms] {
        *v = v.map(|v| v * scale);
    }
    for p in &mut line.settling_curve {
        p.0 *= scale;
    }
    line.counts_per_unit /= scale;
    edit(&mut line);
    (line, Stretch { points })
}
fn write(name: &str, moves: &[Move], notes: &[String]) {
    let shown = moves.iter().map(|(line, stretch)| Shown { line, stretch }).collect();
    let sheet =
        Sheet { moves: shown, chosen: None, heading: format!("Plug-tray transplanter, {name}"), notes };
    let s = svg(&sheet);
    std::fs::write(format!("/tmp/plotlook/{name}.png"), png(&s).unwrap()).unwrap();
    std::fs::write(format!("/tmp/plotlook/{name}.svg"), &s).unwrap();
    let lines: Vec<MoveLine> = moves.iter().map(|m| m.0.clone()).collect();
    std::fs::write(format!("/tmp/plotlook/{name}.html"), html(&sheet, &lines).unwrap()).unwrap();
    for w in [80, 120] {
        std::fs::write(
            format!("/tmp/plotlook/{name}.{w}.txt"),
            crate::report::table::table(&lines, false, Some(w)),
        )
        .unwrap();
    }
}
fn not(line: &mut MoveLine, outcome: &str, reason: &str) {
    line.outcome = outcome.into();
    line.reason = reason.into();
    line.settling_s = None;
    line.settling_u_s = None;
    line.confirmation_s = None;
    line.stabilization_s = None;
    line.rest_error = None;
    line.rest_noise_rms = None;
}
fn clean(t: f64) -> f64 {
    0.02 * (-t / 0.006).exp()
}
fn tiny(t: f64) -> f64 {
    0.0 - 60.0 * fake::ringing(t)
}
fn late(t: f64) -> f64 {
    fake::lag(t) + if t > 0.25 { 0.03 * (-(t - 0.25) / 0.02).exp() } else { 0.0 }
}
#[test]
fn look() {
    write("clean", &[one(1, clean, 0.4, 1.0, |_| ())], &[]);
    write(
        "ringing",
        &[one(1, fake::ringing, 0.4, 1.0, |_| ())],
        &["A sample period of 0.5 ms limits the settling time.".into()],
    );
    write("unsettled", &[one(1, fake::hunting, 0.6, 1.0, |_| ())], &[]);
    write(
        "interrupted",
        &[one(1, fake::lag, 0.088, 1.0, |l| {
            not(l, "interrupted", "inside the window for 6 ms of 10 ms when the next move began")
        })],
        &[],
    );
    write(
        "untrusted",
        &[one(1, fake::ringing, 0.4, 1.0, |l| {
            not(l, "untrusted", "12 samples are missing 31 ms after command end")
        })],
        &[],
    );
    let shapes: [Shape; 5] = [fake::ringing, fake::lag, clean, fake::hunting, late];
    let many = |n: u32| {
        (1..=n)
            .map(|i| {
                one(
                    i,
                    shapes[if i % 17 == 3 { 3 } else { (i % 3) as usize }],
                    0.5,
                    0.8 + 0.01 * f64::from(i % 23),
                    |l| {
                        l.window = 0.01;
                        l.counts_per_unit = 1000.0;
                        if i % 19 == 5 {
                            not(
                                l,
                                "interrupted",
                                "inside the window for 6 ms of 10 ms when the next move began",
                            )
                        }
                        if i % 31 == 7 {
                            not(l, "untrusted", "a gap of 12 samples")
                        }
                        if i % 2 == 0 {
                            l.travel = -l.travel
                        }
                    },
                )
            })
            .collect::<Vec<_>>()
    };
    write("forty", &many(40), &[]);
    write("fivehundred", &many(500), &[]);
    write("tinywindow", &[one(1, tiny, 1.2, 1.0, |_| ())], &[]);
    write("late", &[one(1, late, 0.6, 1.0, |_| ()), one(2, late, 0.6, 1.0, |_| ())], &[]);
    write("deg", &[one(1, fake::ringing, 0.4, 5.0, |l| l.unit = "deg".into())], &[]);
    write(
        "counts",
        &[
            one(1, fake::ringing, 0.4, 1000.0, |l| l.unit = "counts".into()),
            one(2, fake::lag, 0.4, 1000.0, |l| l.unit = "counts".into()),
        ],
        &[],
    );
    write(
        "small",
        &[one(1, fake::ringing, 0.4, 1e-5, |l| {
            l.travel = 0.01;
        })],
        &[],
    );
    write(
        "large",
        &[one(1, fake::ringing, 0.4, 100.0, |l| {
            l.travel = 10000.0;
        })],
        &[],
    );
    write(
        "negative",
        &[one(1, fake::ringing, 0.4, -1.0, |l| {
            l.window = 0.01;
            l.counts_per_unit = 1000.0;
            l.overshoot = 0.412;
            l.settling_curve.iter_mut().for_each(|p| p.0 = p.0.abs());
        })],
        &[],
    );
    write(
        "hostile",
        &[one(1, fake::ringing, 0.4, 1.0, |l| {
            l.file = "<script>alert('1')</script>\"tray\".csv\nline".into();
            l.axis = "a&b\u{1b}[31m\u{202e}\"><img src=x onerror=alert(1)>".into();
            l.unit = "mm<b>".into();
            l.signature = Some("<i>x</i>".into());
            l.reason = "sample <period> \"too\" long\nsecond line".into();
        })],
        &["note <b>bold</b> & \"quotes\"".into()],
    );
    write("none", &[], &[]);
}
