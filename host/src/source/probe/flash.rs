//! In: a session and an image. Out: the image written to the chip, verified and started.

use std::path::Path;

use probe_rs::Session;
use probe_rs::flashing::{DownloadOptions, ElfLoader, ElfOptions, download_file_with_options};

use super::attach::with_causes;
use crate::source::ConnectionError;

/// Writes the image and starts it.
pub fn write(mut session: Session, image: &Path) -> Result<(), ConnectionError> {
    let mut options = DownloadOptions::default();
    options.verify = true;
    let loader = ElfLoader(ElfOptions::default());
    download_file_with_options(&mut session, image, loader, options).map_err(|error| {
        let wrong = format!("{}: the image was not written: {}", image.display(), with_causes(&error));
        ConnectionError::new(
            wrong,
            "check that the image was built for this chip, check the power and the cable, and write it again",
        )
    })?;
    restart(&mut session).map_err(|error| {
        ConnectionError::new(
            format!("the image is written but did not start: {}", with_causes(&error)),
            "press the board's reset button",
        )
    })
}

/// Resets the chip, which starts its program.
pub fn restart(session: &mut Session) -> Result<(), probe_rs::Error> {
    session.core(0)?.reset()
}
