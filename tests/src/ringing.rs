//! In: stops of known ringing, and stops without any. Out: what the fit of the core makes of them, beside the bound of what
//! is possible and beside a slow twin.

pub mod stops;
pub mod bound;
pub mod dense;
pub mod cells;
pub mod nulls;
pub mod friction;
pub mod doubles;
pub mod singles;
