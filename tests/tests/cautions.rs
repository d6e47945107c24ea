//! Cautions and reasons that a person would miss: steps, spikes, ends of recordings, offsets. Common practice, no source.

use stillpoint_core::{Outcome, Parameters, Reasons, Record};
use stillpoint_tests::run::{run, steady};

/// Samples at 1 kHz, a window of 10 counts that must hold for 10 ms.
fn parameters() -> Parameters {
    Parameters { window: 10, synchronous: true, ..Parameters::at(1_000_000).with_window_time_ms(10) }
}

/// A move of 1000 counts in `samples` from sample 100 on, with these errors since its end, which stay as the last is;
/// `next` samples after them the axis moves back.
fn moves(samples: i32, errors: &[i32], next: Option<usize>) -> Vec<Record> {
    let end = 100 + samples as usize;
    let back = next.map_or(usize::MAX, |next| end + errors.len() + next);
    let last = *errors.last().expect("errors");
    let total = if next.is_some() { back + 100 } else { end + errors.len() };
    let signal = |k: usize| {
        let command = if k < back { (k as i32 - 99).clamp(0, samples) * 1000 / samples } else { 0 };
        let error = match k {
            k if k < 100 || k >= back => 0,
            k if k < end => 20,
            _ => errors.get(k - end).copied().unwrap_or(last),
        };
        (command, command - error)
    };
    run(parameters(), steady(1000, (0..total).map(signal))).moves.iter().map(|of| of.record).collect()
}

fn falling(from: i32, to: i32) -> Vec<i32> {
    (0..100).map(|k| to + ((from - to) >> (k / 4).min(30))).collect()
}

#[test]
fn a_command_that_jumps_to_its_target_is_named() {
    for (samples, stepped) in [(1, true), (2, true), (3, false), (50, false)] {
        let record = moves(samples, &falling(200, 0), Some(50))[0];
        assert_eq!(record.reasons.has(Reasons::STEPPED), stepped, "{samples} samples");
        assert_eq!(record.outcome, Outcome::Settled);
    }
}

/// The axis moves 100 counts in 5 samples at most; one to three samples far outside, or inside, are no motion of it.
#[test]
fn a_spike_faster_than_the_axis_is_named() {
    let spiked = |at: usize, error: i32| {
        let mut errors = falling(200, 0);
        errors[at] = error;
        moves(50, &errors, Some(50))[0]
    };
    let clean = moves(50, &falling(200, 0), Some(50))[0];
    assert!(!clean.reasons.has(Reasons::SPIKE));
    let late = spiked(60, 400);
    assert!(late.reasons.has(Reasons::SPIKE), "{}", late.reasons);
    assert!(late.settling > clean.settling);
    // Inside for one sample long before the entry: the first entry is that of the spike.
    let early = spiked(2, 0);
    assert!(early.reasons.has(Reasons::SPIKE), "{}", early.reasons);
    assert!(early.first_entry < clean.first_entry);
    // An excursion that the axis can make, and a longer one, are motion.
    assert!(!spiked(60, 12).reasons.has(Reasons::SPIKE));
    for (length, is_spike) in [(2, true), (3, true), (4, false), (9, false)] {
        let mut errors = falling(200, 0);
        errors[60..60 + length].fill(400);
        let record = moves(50, &errors, Some(50))[0];
        assert_eq!(record.reasons.has(Reasons::SPIKE), is_spike, "{length} samples");
    }
}

#[test]
fn a_recording_that_ends_before_the_rest_is_named() {
    let outside = moves(50, &falling(4000, 0)[..24], None)[0];
    assert_eq!((outside.outcome, outside.reasons.has(Reasons::ENDED)), (Outcome::Unsettled, true));
    let said = outside.reasons.to_string();
    assert!(
        said.starts_with("outside the window when the samples ended") && !said.contains("rest"),
        "{said}"
    );
    let brief = moves(50, &falling(200, 0)[..25], None)[0];
    assert_eq!(brief.outcome, Outcome::Interrupted);
    let said = brief.reasons.to_string();
    assert!(said.starts_with("inside for less than the window time when the samples ended"), "{said}");
    // The next move ends this rest; and a stop that has settled is not cut off.
    assert!(!moves(50, &falling(4000, 0)[..24], Some(0))[0].reasons.has(Reasons::ENDED));
    assert!(!moves(50, &falling(200, 0), None)[0].reasons.has(Reasons::ENDED));
}

#[test]
fn a_constant_offset_is_named_with_its_size() {
    for (offset, next) in [(40, Some(300)), (-40, Some(300)), (40, None)] {
        let mut errors = falling(200, offset);
        errors.resize(400, offset);
        let record = moves(50, &errors, next)[0];
        assert_eq!(record.outcome, Outcome::Unsettled);
        assert!(record.reasons.has(Reasons::OFFSET), "{}", record.reasons);
        assert_eq!((record.rest_error, record.rest_noise_rms), (Some(256 * i64::from(offset)), None));
    }
    // Still falling, or swinging, or seen for too short a time: no offset, and no error of the rest.
    let fall: Vec<i32> = (0..60).map(|k| 400 - 5 * k).collect();
    let swing: Vec<i32> = (0..60).map(|k| if k % 8 < 4 { 60 } else { -60 }).collect();
    for errors in [&fall, &swing, &falling(200, 40)] {
        let record = moves(50, errors, Some(0))[0];
        assert_eq!((record.outcome, record.rest_error), (Outcome::Unsettled, None));
        assert!(!record.reasons.has(Reasons::OFFSET), "{}", record.reasons);
    }
}
