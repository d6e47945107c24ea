//! In: the product that an axis works on. Out: the payload `Job`.

use serde::{Deserialize, Serialize};

/// The product that an axis works on, from the first move that begins at `at` or later.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Job {
    /// Axis, from 0.
    pub axis: u8,
    /// Instant, since the first reading. Unit: ticks
    pub at: u64,
    /// Number of the product; 0 means none.
    pub number: u32,
}
