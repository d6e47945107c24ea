//! In: the name of a chip on a debug probe, and its image if known. Out: the bytes a serial line would give; the
//! chip's log on stderr; or the image written to the chip.
//!
//! Only `reach`, `flash` and `channels` know of probes. `pump` and `log` know rings of bytes.

#[cfg(feature = "probe")]
pub mod log;
#[cfg(feature = "probe")]
pub mod pump;
#[cfg(feature = "probe")]
pub mod reach;
#[cfg(feature = "probe")]
pub mod channels;
#[cfg(feature = "probe")]
pub mod flash;

use std::path::Path;

use super::Line;
use crate::error::Error;

/// Listens to a monitor that runs already. It is not restarted. While the probe attaches it is halted for an instant,
/// because probe-rs then looks after breakpoints: the samples of that instant are missing, which the monitor counts.
#[cfg(feature = "probe")]
pub fn open(chip: &str, image: Option<&Path>) -> Result<Line, Error> {
    open_through(&probe_rs::probe::list::Lister::new(), chip, image, Box::new(std::io::stderr()))
}

/// The same with the probes that `lister` finds. Words of the log go to `words`.
#[cfg(feature = "probe")]
pub fn open_through(
    lister: &probe_rs::probe::list::Lister,
    chip: &str,
    image: Option<&Path>,
    words: Box<dyn std::io::Write + Send>,
) -> Result<Line, Error> {
    let image = image.map(log::Image::read).transpose()?;
    let (block, table) = image.map_or((None, None), |image| (image.block, image.table));
    let session = reach::attach(lister, chip)?;
    let channels = channels::Channels::find(session, block).map_err(|ended| ended.at(&place(chip)))?;
    Ok(pump::start(channels, log::Log::new(table, words)))
}

/// Writes an image to the chip, checks it and starts it.
#[cfg(feature = "probe")]
pub fn flash(chip: &str, image: &Path) -> Result<(), Error> {
    log::Image::read(image)?;
    let session = reach::attach(&probe_rs::probe::list::Lister::new(), chip)?;
    flash::write(session, image).map_err(|ended| ended.at(&place(chip)))
}

/// Says that this build reaches no probe.
#[cfg(not(feature = "probe"))]
pub fn open(chip: &str, _image: Option<&Path>) -> Result<Line, Error> {
    Err(unbuilt(chip))
}

/// Says that this build reaches no probe.
#[cfg(not(feature = "probe"))]
pub fn flash(chip: &str, _image: &Path) -> Result<(), Error> {
    Err(unbuilt(chip))
}

#[cfg(not(feature = "probe"))]
fn unbuilt(chip: &str) -> Error {
    super::Ended::new("this program was built without probe", "build it with `--features probe`")
        .at(&place(chip))
}

fn place(chip: &str) -> String {
    format!("probe:{chip}")
}
