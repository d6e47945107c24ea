//! In: what was recorded over hours and weeks, in memory. Out: figures that people decide by.

pub mod alarm_rate;
pub mod order;
pub mod quantile;
pub mod mann_kendall;
pub mod theil_sen;
pub mod rank_sum;
pub mod bootstrap;
pub mod line;
pub mod noise;
pub mod change_point;
pub mod stretch;
pub mod warm_up;
pub mod point;
pub mod left;
pub mod local_trend;
pub mod time_to_limit;
pub mod cost;
pub mod fit;
pub mod unsettled;
pub mod trend;
