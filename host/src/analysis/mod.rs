//! In: what was recorded over hours and weeks, in memory. Out: figures that people decide by.

// Statistics.
pub mod order;
pub mod quantile;
pub mod mann_kendall;
pub mod theil_sen;
pub mod rank_sum;
pub mod differences;
pub mod shift_interval;
pub mod newcombe;
pub mod dependence;
pub mod slower;
pub mod bootstrap;
pub mod regression;
pub mod linear;
pub mod low_pass;
pub mod noise;
pub mod exact;
pub mod tolerance;
pub mod share_bound;
pub mod density;

// One kind of moves over time.
pub mod change_point;
pub mod segment;
pub mod warm_up;
pub mod interval_stats;
pub mod residual_error;
pub mod local_trend;
pub mod time_to_limit;
pub mod cost;
pub mod fit;
pub mod unsettled;
pub mod standing;
pub mod trend;

// What an axis is made of.
pub mod identify;
pub mod renewal;
pub mod two_modes;

// Moves of several recordings.
pub mod like_moves;
pub mod stop_curves;
pub mod comparison;
pub mod median_interval;
pub mod more_moves;
pub mod window_limit;

// Why stops are slow.
pub mod signature_share;
pub mod offset_by_place;
pub mod frequency_trend;
