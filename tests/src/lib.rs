//! In: figures and recordings published elsewhere. Out: the results of the core for them, for the tests.
//!
//! Published files lie beside the repository. Where they are absent a test says so and checks nothing.

pub mod flash;
pub mod skip;
pub mod rounds;
pub mod layout;
pub mod published;
pub mod response;
pub mod run;
pub mod twin;
pub mod segments;
pub mod alarm;
pub mod alarms;
pub mod alarm_rate;
pub mod outliers;
pub mod pettitt;
pub mod chance;
pub mod profile;
pub mod stops;
pub mod signature_twin;
pub mod stop_families;
pub mod linear;
pub mod ringing;
pub mod coverage;
pub mod monitor;
pub mod recording;
pub mod emulator;
pub mod moments;
pub mod quantile;
pub mod exponential;
pub mod normal;
pub mod distribution;
pub mod scatter;
pub mod run_length;
pub mod chart;
pub mod page_hinkley;
pub mod promise;
pub mod poisson;
pub mod nuisance;
pub mod shift;
pub mod stored;
