//! In: a signature and what is typical of its stops. Out: the evidence in one sentence, with its numbers.

use stillpoint_core::Signature;

use super::figures::{Figures, with_interval};
use crate::analysis::median_interval::MedianInterval;
use crate::report::number::{count, plain_to};

/// What the stops were measured with.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scale<'a> {
    /// Half-width of the window. Unit: `unit`
    pub window: f64,
    /// Smallest change of feedback. Unit: `unit`
    pub encoder_step: f64,
    /// Name of the unit of position.
    pub unit: &'a str,
}

/// The stops of one signature.
#[derive(Clone, Debug, PartialEq)]
pub struct Stops<'a> {
    /// How many.
    pub count: usize,
    /// What is typical of them.
    pub figures: &'a Figures,
    /// Why most of them have no frequency; none if that is not known.
    pub no_frequency: Option<&'a str>,
    /// Median settling time; none where half did not settle. Unit: s
    pub settling_s: Option<f64>,
}

/// The sentence, without a point.
pub fn evidence(signature: Signature, stops: &Stops, scale: Scale) -> String {
    let parts = match signature {
        Signature::Clean => {
            vec![stops.settling_s.map(clean)]
        }
        Signature::Lag => lag(stops.figures, scale),
        Signature::Ringing => ringing(stops),
        Signature::Creep => creep(stops.figures, scale),
        Signature::Overshoot => overshoot(stops.figures, scale),
        Signature::Hunting => hunting(stops.figures, scale),
        Signature::Offset => offset(stops.figures, scale),
        Signature::Unsure => return "no rule fits these stops, or noise hides which".to_owned(),
    };
    let parts: Vec<String> = parts.into_iter().flatten().collect();
    let of = count(stops.count, &format!("{} stop", signature.word()));
    let whose = if stops.count == 1 { of.clone() } else { format!("median of {of}") };
    match parts.is_empty() {
        true => format!("no figure of {of} is known"),
        false => format!("{whose}: feedback {}", parts.join(", ")),
    }
}

fn clean(settling_s: f64) -> String {
    match settling_s > 0.0 {
        true => format!("settles within {} ms", plain_to(1e3 * settling_s, 2)),
        false => "is inside the window at the command end".to_owned(),
    }
}

/// Unit of the result: ms
fn ms(figure: &MedianInterval) -> String {
    with_interval(figure, 1e3, "ms")
}

/// A length beside the window.
fn length(figure: &MedianInterval, scale: Scale) -> String {
    let windows = plain_to(figure.median.abs() / scale.window, 2);
    format!("{}, {windows} × the window,", with_interval(figure, 1.0, scale.unit))
}

fn ringing(stops: &Stops) -> Vec<Option<String>> {
    let figures = stops.figures;
    let frequency = match (&figures.ringing_hz, stops.no_frequency) {
        (Some(hz), _) => {
            let shows =
                if stops.count == 1 { String::new() } else { format!(", which {} of them show", hz.values) };
            format!("swings at {}{shows}", with_interval(hz, 1.0, "Hz"))
        }
        (None, Some(why)) => format!("swings at a frequency that is not stated ({why})"),
        (None, None) => "swings at a frequency that is not known".to_owned(),
    };
    let turns =
        |turns: &MedianInterval| format!("turns {} times before it stays inside", plain_to(turns.median, 2));
    let decay = |decay: &MedianInterval| format!("decays with a time constant of {}", ms(decay));
    let two = figures.two_modes_hz.filter(|hz| 2 * hz[0].values > stops.count).map(|hz| {
        let [lower, higher] = hz.map(|hz| with_interval(&hz, 1.0, "Hz"));
        let shows = hz[0].values;
        format!(
            "shows two oscillations in all samples of {shows} of {}, at {lower} and {higher}",
            stops.count
        )
    });
    vec![
        Some(frequency),
        two,
        figures.turning_points.as_ref().map(turns),
        figures.decay_s.as_ref().map(decay),
    ]
}

fn lag(figures: &Figures, scale: Scale) -> Vec<Option<String>> {
    let follows = |lag: &MedianInterval| format!("follows the command by {} while the axis moves", ms(lag));
    let error = |error: &MedianInterval| format!("is {} behind at the command end", length(error, scale));
    let tail = |tail: &MedianInterval| format!("comes in with a time constant of {}", ms(tail));
    vec![
        figures.cruise_lag_s.as_ref().map(follows),
        figures.error_at_command_end.as_ref().filter(|error| error.median > 0.0).map(error),
        figures.tail_s.as_ref().map(tail),
    ]
}

fn creep(figures: &Figures, scale: Scale) -> Vec<Option<String>> {
    let is_beyond = goes_beyond(figures, scale.window);
    let place = match is_beyond {
        true => figures.overshoot.map(|beyond| format!("goes {} beyond the target", length(&beyond, scale))),
        false => figures
            .error_at_command_end
            .filter(|error| error.median > 0.0)
            .map(|error| format!("is {} behind at the command end", length(&error, scale))),
    };
    let comes = if is_beyond { "comes back" } else { "comes in" };
    let tail = |tail: &MedianInterval| format!("{comes} with a time constant of {}", ms(tail));
    let lag = |lag: &MedianInterval| match lag.median < 0.0 {
        true => "led while the axis moved, which does not explain it".to_owned(),
        false => format!("followed by {} while the axis moved, which does not explain it", ms(lag)),
    };
    vec![
        place,
        figures.tail_s.as_ref().map(tail).or_else(|| Some(format!("{comes} slowly"))),
        figures.cruise_lag_s.as_ref().map(lag),
    ]
}

/// Whether feedback goes beyond the target by more than the window.
pub fn goes_beyond(figures: &Figures, window: f64) -> bool {
    figures.overshoot.is_some_and(|beyond| beyond.median > window)
}

fn overshoot(figures: &Figures, scale: Scale) -> Vec<Option<String>> {
    let beyond = |beyond: &MedianInterval| format!("goes {} beyond the target", length(beyond, scale));
    let motion = |lag: &MedianInterval| match leads(figures) {
        true => format!("leads the command by {} while the axis moves", ms(&lag.size())),
        false => format!("follows the command by {} while the axis moves", ms(lag)),
    };
    vec![figures.overshoot.as_ref().map(beyond), figures.cruise_lag_s.as_ref().map(motion)]
}

/// Whether feedback is shown to lead the command while the axis moves.
pub fn leads(figures: &Figures) -> bool {
    figures.cruise_lag_s.and_then(|lag| lag.ends).is_some_and(|(_, high)| high < 0.0)
}

fn hunting(figures: &Figures, scale: Scale) -> Vec<Option<String>> {
    let period = |period: &MedianInterval| format!("goes to and fro every {}", ms(period));
    let swing = |swing: &MedianInterval| {
        let steps = plain_to(swing.median / scale.encoder_step, 2);
        format!("still swings beyond ± {}, {steps} × the encoder step", with_interval(swing, 1.0, scale.unit))
    };
    let standing =
        |share: &MedianInterval| format!("stands for {} % of that time", plain_to(100.0 * share.median, 2));
    vec![
        figures.period_s.as_ref().map(period),
        figures.not_held.as_ref().map(swing),
        figures.standing.as_ref().map(standing),
    ]
}

fn offset(figures: &Figures, scale: Scale) -> Vec<Option<String>> {
    let Some(error) = figures.rest_error.as_ref() else {
        return vec![Some("stands beside the window; how far is not known".to_owned())];
    };
    let place = if error.median < 0.0 { "beyond" } else { "short of" };
    vec![Some(format!("stands {} {place} the target", length(&error.size(), scale)))]
}
