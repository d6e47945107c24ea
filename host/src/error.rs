//! In: what can go wrong on the host. Out: one message with file, line and what to do.

use std::io;

/// Why the host can't go on. Bad rows are not in here: they become gaps and reading continues.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// The operating system refused.
    #[error("{file}: can't be read: {source}; check the name, the permissions and the medium")]
    Unreadable {
        /// Name of the recording.
        file: String,
        /// What the system said.
        source: io::Error,
    },
    /// The operating system refused a file that is to be written.
    #[error("{file}: can't be written: {source}; check the name, the folder, the permissions and the disk")]
    Unwritable {
        /// Name of the file.
        file: String,
        /// What the system said.
        source: io::Error,
    },
    /// A folder was named.
    #[error("{file}: is a folder; name a recording in it")]
    Folder {
        /// Name of the folder.
        file: String,
    },
    /// There is nothing in the file.
    #[error("{file}: is empty; export the recording again")]
    Empty {
        /// Name of the recording.
        file: String,
    },
    /// The file is of a kind that this build, or no build from a pipe, can read.
    #[error(
        "{file}: is a Parquet file, which can't be read here; build with `--features parquet` and name the file, or export it as CSV"
    )]
    NoParquet {
        /// Name of the recording.
        file: String,
    },
    /// No line has numbers side by side.
    #[error(
        "{file}, line {line}: no rows of numbers up to here; a recording needs command and feedback side by side in columns, or say --delimiter and --decimal"
    )]
    NoRows {
        /// Name of the recording.
        file: String,
        /// Last line that was looked at.
        line: u64,
    },
    /// Two ways to cut the lines fit equally well.
    #[error(
        "{file}, line {line}: the rows read as well with {first} as with {second}; say which with --delimiter and --decimal"
    )]
    Undecided {
        /// Name of the recording.
        file: String,
        /// First line of numbers.
        line: u64,
        /// One reading.
        first: String,
        /// The other.
        second: String,
    },
    /// A column is missing, ambiguous or not there.
    #[error("{file}, line {line}: {wrong}; name it with {flag}, one of: {columns}")]
    Column {
        /// Name of the recording.
        file: String,
        /// Line of the header, or of the first row.
        line: u64,
        /// What is wrong.
        wrong: String,
        /// Option that names the column.
        flag: String,
        /// The columns there are.
        columns: String,
    },
    /// The recording is read well, but what it says can't be used.
    #[error("{file}, line {line}: {wrong}; {remedy}")]
    Recording {
        /// Name of the recording.
        file: String,
        /// Line that shows it.
        line: u64,
        /// What is wrong.
        wrong: String,
        /// What to do about it.
        remedy: String,
    },
    /// Whoever read the output has gone.
    #[error("the output is closed; nothing more was written")]
    Closed,
    /// The output can't be written.
    #[error("the output can't be written: {0}; check the disk")]
    Output(io::Error),
    /// There is no picture.
    #[error("{0}")]
    Picture(Box<dyn std::error::Error + Send + Sync>),
    /// A store can't be used.
    #[error("{file}: {wrong}; {remedy}")]
    Store {
        /// Name of the store.
        file: String,
        /// What is wrong.
        wrong: String,
        /// What to do about it.
        remedy: String,
    },
    /// A monitor is not to be heard, or not any more.
    #[error("{place}: {wrong}; {remedy}")]
    Unreached {
        /// Where it was to be heard.
        place: String,
        /// What is wrong.
        wrong: String,
        /// What to do about it.
        remedy: String,
    },
    /// An option of the command can't be used.
    #[error("{option} {value}: {wrong}; {remedy}")]
    Option {
        /// The option as it is typed.
        option: String,
        /// What was given.
        value: String,
        /// What is wrong.
        wrong: String,
        /// What to do about it.
        remedy: String,
    },
}

impl From<io::Error> for Error {
    fn from(error: io::Error) -> Error {
        if error.kind() == io::ErrorKind::BrokenPipe { Error::Closed } else { Error::Output(error) }
    }
}

impl Error {
    /// Exit status of a command: 2 where the arguments are wrong, otherwise 1.
    pub fn status(&self) -> u8 {
        if matches!(self, Error::Option { .. }) { 2 } else { 1 }
    }

    /// A position window that nothing can be inside of.
    pub fn window(value: impl ToString) -> Error {
        Error::Option {
            option: "--window".to_string(),
            value: value.to_string(),
            wrong: "a position window must be a plain figure larger than 0".to_string(),
            remedy: "give half its width in the unit of the recording, such as 0.01".to_string(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(error: Error, parts: &[&str]) {
        let message = error.to_string();
        for part in parts {
            assert!(message.contains(part), "{part:?} is not in {message:?}");
        }
        assert!(message.contains("; "), "{message:?} does not say what to do");
    }

    #[test]
    fn every_message_says_where_and_what_to_do() {
        let file = || "axis.csv".to_string();
        let source = io::Error::from(io::ErrorKind::NotFound);
        check(Error::Unreadable { file: file(), source }, &["axis.csv", "not found", "check the name"]);
        let source = io::Error::from(io::ErrorKind::StorageFull);
        check(Error::Unwritable { file: file(), source }, &["axis.csv: can't be written", "check the name"]);
        check(Error::Folder { file: file() }, &["axis.csv: is a folder"]);
        check(Error::Empty { file: file() }, &["axis.csv: is empty"]);
        check(Error::NoParquet { file: file() }, &["--features parquet"]);
        check(Error::NoRows { file: file(), line: 7 }, &["axis.csv, line 7: no rows"]);
        let (first, second) = ("','".to_string(), "';'".to_string());
        check(Error::Undecided { file: file(), line: 2, first, second }, &["line 2", "','", "--delimiter"]);
        check(
            Error::Column {
                file: file(),
                line: 1,
                wrong: "no time column".into(),
                flag: "--time".into(),
                columns: "1 a, 2 b".into(),
            },
            &["axis.csv, line 1: no time column", "--time", "1 a, 2 b"],
        );
        assert_eq!((Error::window(0).status(), Error::Empty { file: file() }.status()), (2, 1));
        check(Error::window(0), &["--window 0", "larger than 0", "0.01"]);
    }
}
