//! temp
/// One simultaneous reading of an axis's two signals.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Reading {
    /// Time stamp; wraps on purpose. Unit: ticks
    pub tick: u32,
    /// Commanded position; wraps on purpose. Unit: command counts
    pub command: i32,
    /// Measured position; wraps on purpose. Unit: feedback counts
    pub feedback: i32,
}
