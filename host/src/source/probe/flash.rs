//! In: a session and an image. Out: the image on the chip, read back and compared, and running.

use std::path::Path;

use probe_rs::Session;
use probe_rs::flashing::{DownloadOptions, ElfLoader, ElfOptions, download_file_with_options};

use super::reach::whole;
use crate::source::Ended;

/// Writes the image and starts it.
pub fn write(mut session: Session, image: &Path) -> Result<(), Ended> {
    let mut options = DownloadOptions::default();
    options.verify = true;
    let loader = ElfLoader(ElfOptions::default());
    download_file_with_options(&mut session, image, loader, options).map_err(|error| {
        let wrong = format!("{}: the image was not written: {}", image.display(), whole(&error));
        Ended::new(
            wrong,
            "check that it was built for this chip, the power and the cable, and write it again",
        )
    })?;
    restart(&mut session).map_err(|error| {
        Ended::new(
            format!("the image is written but did not start: {}", whole(&error)),
            "press the board's reset button",
        )
    })
}

/// Starts what is on the chip from the beginning.
pub fn restart(session: &mut Session) -> Result<(), probe_rs::Error> {
    session.core(0)?.reset()
}
