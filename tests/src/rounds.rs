//! In: rounds and seed of a short test. Out: rounds and seed of this run.
//!
//! `tests/long` sets two variables: `STILLPOINT_ROUNDS`, a factor on the rounds, and `STILLPOINT_SEED`, other seeds.
//! Without them a test is short and the same each time.

use proptest::test_runner::{Config, RngSeed};

fn variable(name: &str) -> Option<u64> {
    let text = std::env::var(name).ok()?;
    Some(text.parse().unwrap_or_else(|_| panic!("{name}={text} is not a whole number")))
}

/// The rounds of this run, where the short test has `short`.
pub fn rounds(short: u64) -> u64 {
    short * variable("STILLPOINT_ROUNDS").unwrap_or(1)
}

/// The seed of this run, where the short test has `short`.
pub fn seed(short: u64) -> u64 {
    variable("STILLPOINT_SEED").map_or(short, |seed| short.wrapping_add(seed.wrapping_mul(1_000_003)))
}

/// The round of a long run, from 1; none in a short test.
pub fn round() -> Option<u64> {
    variable("STILLPOINT_SEED")
}

/// A configuration of proptest with the cases and the seed of this run.
pub fn cases(short: u32) -> Config {
    Config {
        cases: u32::try_from(rounds(u64::from(short))).expect("cases"),
        rng_seed: RngSeed::Fixed(seed(2026)),
        ..Config::default()
    }
}
