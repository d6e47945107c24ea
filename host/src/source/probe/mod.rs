//! In: the name of a chip on a debug probe, and its image if known. Out: a connection to the monitor on the chip, with
//! the chip's log on stderr; or the image written to the chip.
//!
//! Only `attach`, `flash` and `channels` use probe-rs. `pump` and `log` work on rings of bytes.

#[cfg(feature = "probe")]
pub mod attach;
#[cfg(feature = "probe")]
pub mod channels;
#[cfg(feature = "probe")]
pub mod flash;
#[cfg(feature = "probe")]
pub mod log;
#[cfg(feature = "probe")]
pub mod pump;

use std::path::Path;

use super::Connection;
use crate::error::Error;

/// Connects to a running monitor without restarting it. The chip is halted for an instant while the probe attaches,
/// because probe-rs then sets up breakpoints; the monitor counts the samples missed in that instant.
#[cfg(feature = "probe")]
pub fn open(chip: &str, image: Option<&Path>) -> Result<Connection, Error> {
    open_through(&probe_rs::probe::list::Lister::new(), chip, image, Box::new(std::io::stderr()))
}

/// As [`open`], with the probes of `lister` and with the log written to `text`.
#[cfg(feature = "probe")]
pub fn open_through(
    lister: &probe_rs::probe::list::Lister,
    chip: &str,
    image: Option<&Path>,
    text: Box<dyn std::io::Write + Send>,
) -> Result<Connection, Error> {
    let image = image.map(log::Image::read).transpose()?;
    let (block, table) = image.map_or((None, None), |image| (image.block, image.table));
    let session = attach::attach(lister, chip)?;
    let channels = channels::Channels::find(session, block).map_err(|error| error.at(&place(chip)))?;
    Ok(pump::start(channels, log::Log::new(table, text)))
}

/// Writes an image to the chip, checks it and starts it.
#[cfg(feature = "probe")]
pub fn flash(chip: &str, image: &Path) -> Result<(), Error> {
    log::Image::read(image)?;
    let session = attach::attach(&probe_rs::probe::list::Lister::new(), chip)?;
    flash::write(session, image).map_err(|error| error.at(&place(chip)))
}

/// Reports that this build has no support for probes.
#[cfg(not(feature = "probe"))]
pub fn open(chip: &str, _image: Option<&Path>) -> Result<Connection, Error> {
    Err(unbuilt(chip))
}

/// Reports that this build has no support for probes.
#[cfg(not(feature = "probe"))]
pub fn flash(chip: &str, _image: &Path) -> Result<(), Error> {
    Err(unbuilt(chip))
}

#[cfg(not(feature = "probe"))]
fn unbuilt(chip: &str) -> Error {
    super::ConnectionError::new(
        "this program was built without support for probes",
        "build it with `--features probe`",
    )
    .at(&place(chip))
}

fn place(chip: &str) -> String {
    format!("probe:{chip}")
}
