//! In: the best fits of one and of two oscillations. Out: two oscillations, or why they are not shown.
//!
//! The limits are ours, found by simulation; `core/METHOD.md`, Two oscillations, has the measured rates.

use std::f64::consts::TAU;

use super::search::Fit;
use super::shape::Mode;
use super::stretch::points;

/// Two decaying oscillations of one stop, the larger one first.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TwoModes {
    /// The one with the larger amplitude at the command end.
    pub first: Vibration,
    /// The other one.
    pub second: Vibration,
}

/// A decaying oscillation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Vibration {
    /// Damped frequency. Unit: Hz
    pub frequency: f64,
    /// Its standard uncertainty. Unit: Hz
    pub frequency_u: f64,
    /// Damping ratio: 1 is critical. Unit: 1
    pub damping: f64,
    /// Its standard uncertainty. Unit: 1
    pub damping_u: f64,
    /// Amplitude at the command end. Unit: that of the errors
    pub amplitude: f64,
}

/// Why two oscillations are not shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Doubt {
    /// Fewer than 64 samples, or so many that none are looked at.
    Length,
    /// One oscillation describes the stop about as well.
    One,
    /// What two leave is no noise: there are more, or none that decays exponentially.
    NotExponential,
    /// One of them grows, hardly rings, or shows fewer than one and a half periods.
    Faint,
    /// One of them is uncertain.
    Uncertain,
    /// They are too close to each other.
    Close,
    /// One is at a whole multiple of the other, as swings of a single one that are no sine have it.
    Multiple,
    /// The later part of the stop alone has others.
    Changing,
}

/// Least gain in Schwarz's criterion.
const GAIN: f64 = 10.0;
/// Means among which what is left must be no more alike than this.
const MEANS: usize = 128;
const ALIKE: f64 = 0.3;
/// The same of what one oscillation leaves, below which no second one is searched.
const WHITE: f64 = 0.2;
/// Fewest periods of each that can be seen.
const PERIODS: f64 = 1.4;
/// Least relative distance from a multiple.
const MULTIPLE: f64 = 0.005;
/// Most uncertainties by which a part of the stop may differ from the whole.
const STEADY: f64 = 2.5;
/// Least distance, in half-widths of both resonances (their decays α). Swings of a single oscillation whose frequency or
/// decay depends on the amplitude, or which begins late, look like two that are closer.
const WIDTHS: f64 = 1.25;

/// What the fit of two leaves.
struct Rest {
    /// Standard deviation. Unit: counts
    deviation: f64,
    /// Factor on variances, as neighbouring samples err alike.
    inflation: f64,
    /// Autocorrelation of neighbouring means.
    alike: f64,
}

impl Rest {
    fn new(fit: &Fit, samples: &[f64], least: f64) -> Rest {
        let rest = fit.rest(samples);
        let own = autocorrelation(&rest).clamp(0.0, 0.98);
        let freedom = (samples.len() as f64 - fit.shape.parameters()).max(1.0);
        Rest {
            deviation: (fit.squares.max(least) / freedom).sqrt(),
            inflation: (1.0 + own) / (1.0 - own),
            alike: autocorrelation(&points(&rest, MEANS).0).abs(),
        }
    }
}

impl Rest {
    /// Standard deviation that neighbours who err alike have the effect of. Unit: counts
    fn scale(&self) -> f64 {
        self.deviation * self.inflation.sqrt()
    }
}

/// Autocorrelation of neighbours.
fn autocorrelation(rest: &[f64]) -> f64 {
    let square: f64 = rest.iter().map(|value| value * value).sum();
    let product: f64 = rest.windows(2).map(|pair| pair[0] * pair[1]).sum();
    if square > 0.0 { product / square } else { 0.0 }
}

/// Whether one oscillation leaves more than noise, so that two may be worth a search.
pub(super) fn leaves_structure(one: &Fit, samples: &[f64]) -> bool {
    let rest = one.rest(samples);
    autocorrelation(&rest).abs().max(autocorrelation(&points(&rest, MEANS).0).abs()) > WHITE
}

/// Two fitted oscillations with what speaks for them.
struct Pair<'a> {
    two: &'a Fit,
    samples: &'a [f64],
    rest: Rest,
    /// Unit: counts
    step: f64,
    amplitudes: [f64; 2],
    /// Standard uncertainties of ln ω and α/ω of each.
    u: [(f64, f64); 2],
}

/// Weighs two against one. Unit: s, counts
pub(super) fn judge(
    one: &Fit,
    two: &Fit,
    samples: &[f64],
    period_s: f64,
    step: f64,
) -> Result<TwoModes, Doubt> {
    // Less than what the steps of the encoder make of the samples can't be left.
    let least = samples.len() as f64 * step * step / 12.0;
    let rest = Rest::new(two, samples, least);
    let worth = worth(one, two, (samples.len() as f64, rest.inflation, least));
    let pair = Pair::new(two, samples, rest, step);
    if worth.is_nan() || worth <= GAIN {
        return Err(Doubt::One);
    }
    if let Some(doubt) = pair.doubt() {
        return Err(doubt);
    }
    let [one, other] = [0, 1].map(|k| pair.vibration(k, period_s));
    let (first, second) = if one.amplitude < other.amplitude { (other, one) } else { (one, other) };
    Ok(TwoModes { first, second })
}

/// By how much Schwarz's criterion prefers two to one; samples that err alike count as fewer.
fn worth(one: &Fit, two: &Fit, (count, inflation, least): (f64, f64, f64)) -> f64 {
    let criterion =
        |fit: &Fit| count / inflation * fit.squares.max(least).ln() + fit.shape.parameters() * count.ln();
    criterion(one) - criterion(two)
}

impl<'a> Pair<'a> {
    fn new(two: &'a Fit, samples: &'a [f64], rest: Rest, step: f64) -> Pair<'a> {
        let amplitudes = [0, 1].map(|k| two.sizes[2 * k + 1].hypot(two.sizes[2 * k + 2]));
        let u = deviations(two).map(|(u, u_ratio)| (rest.scale() * u, rest.scale() * u_ratio));
        Pair { two, samples, rest, step, amplitudes, u }
    }

    fn modes(&self) -> [Mode; 2] {
        self.two.shape.modes
    }

    /// Why the two are not shown, if they are not.
    fn doubt(&self) -> Option<Doubt> {
        let is_uncertain =
            |k: usize| self.u[k].0 > 0.1 || self.u[k].1 > (0.3 * self.modes()[k].ratio).max(0.03);
        match () {
            () if self.rest.alike > ALIKE => Some(Doubt::NotExponential),
            () if self.is_faint(0) || self.is_faint(1) => Some(Doubt::Faint),
            () if is_uncertain(0) || is_uncertain(1) => Some(Doubt::Uncertain),
            () if self.is_close() => Some(Doubt::Close),
            () if self.is_multiple() => Some(Doubt::Multiple),
            () if !self.is_steady() => Some(Doubt::Changing),
            () => None,
        }
    }

    /// Whether a mode grows, hardly rings, or shows too few periods.
    fn is_faint(&self, k: usize) -> bool {
        let most = if self.two.shape.tail > 0.0 { 0.25 } else { 0.5 };
        let mode = self.modes()[k];
        let seen = self.seen(k).min(self.samples.len() as f64) * mode.frequency / TAU;
        !(-0.01..=most).contains(&mode.ratio) || seen < PERIODS
    }

    /// Until a mode is two deviations of the noise, or of the steps of the encoder. Unit: samples
    fn seen(&self, k: usize) -> f64 {
        let least = 2.0 * self.rest.deviation.max(0.29 * self.step) * self.rest.inflation.sqrt();
        let Mode { frequency, ratio } = self.modes()[k];
        (self.amplitudes[k] / least).ln() / (ratio.max(1e-6) * frequency)
    }

    fn is_close(&self) -> bool {
        let [one, other] = self.modes();
        let apart = (one.frequency - other.frequency).abs();
        let u = (self.u[0].0 * one.frequency).hypot(self.u[1].0 * other.frequency);
        let widths = |mode: Mode| mode.ratio.max(0.0) * mode.frequency;
        apart < 4.0 * u || apart < WIDTHS * (widths(one) + widths(other))
    }

    /// Whether one is at a multiple of the other, as swings that are no sine have it.
    fn is_multiple(&self) -> bool {
        let [one, other] = self.modes().map(|mode| mode.frequency);
        let times = (one / other).max(other / one);
        let off = (times / times.round() - 1.0).abs();
        times > 1.5 && off < MULTIPLE.max(3.0 * self.u[0].0.hypot(self.u[1].0))
    }

    /// Whether the earlier and the later part of the stop have the same oscillations, each by itself.
    fn is_steady(&self) -> bool {
        let seen = self.seen(0).max(self.seen(1)).min(self.samples.len() as f64) as usize;
        let parts = [&self.samples[..seen * 3 / 4], &self.samples[seen / 4..]];
        parts.iter().all(|part| {
            let found = Fit::new(self.two.shape, part).refined(part);
            let limits = deviations(&found);
            (0..2).all(|k| {
                let (mode, other) = (self.modes()[k], found.shape.modes[k]);
                let limit = STEADY * self.rest.scale();
                (mode.frequency / other.frequency).ln().abs() <= limit * limits[k].0
                    && (mode.ratio - other.ratio).abs() <= limit * limits[k].1
            })
        })
    }

    /// Unit: s
    fn vibration(&self, k: usize, period_s: f64) -> Vibration {
        let (mode, (u, u_ratio)) = (self.modes()[k], self.u[k]);
        let frequency = mode.frequency / TAU / period_s;
        let square = 1.0 + mode.ratio * mode.ratio;
        Vibration {
            frequency,
            frequency_u: frequency * u,
            damping: mode.ratio / square.sqrt(),
            damping_u: u_ratio / (square * square.sqrt()),
            amplitude: self.amplitudes[k],
        }
    }
}

/// Deviations of ln ω and α/ω of each mode, for samples whose deviation is 1.
fn deviations(fit: &Fit) -> [(f64, f64); 2] {
    let variances = fit.variances();
    [0, 1].map(|k| (variances[2 * k].sqrt(), variances[2 * k + 1].sqrt()))
}
