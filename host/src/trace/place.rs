//! In: where a recording can't be used. Out: the error with its file and line.

use crate::error::Error;

/// File and line of a message.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Place<'a> {
    /// Name of the recording.
    pub(crate) file: &'a str,
    /// Line of its first row.
    pub(crate) line: u64,
}

impl Place<'_> {
    /// An error at this place.
    pub(crate) fn error(self, wrong: impl Into<String>, remedy: impl Into<String>) -> Error {
        Error::Recording {
            file: self.file.to_string(),
            line: self.line,
            wrong: wrong.into(),
            remedy: remedy.into(),
        }
    }
}
