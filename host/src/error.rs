//! In: a failure on the host. Out: one message with file, line and remedy.

use std::io;

/// A failure that ends a command. A bad row of a recording is none: it becomes a gap, and reading continues.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// The operating system refused to read.
    #[error("{file}: can't be read: {source}; check the name, the permissions and the medium")]
    Unreadable {
        /// Name of the recording.
        file: String,
        /// Error of the system.
        source: io::Error,
    },
    /// The operating system refused to write.
    #[error("{file}: can't be written: {source}; check the name, the folder, the permissions and the disk")]
    Unwritable {
        /// Name of the file.
        file: String,
        /// Error of the system.
        source: io::Error,
    },
    /// The name is that of a folder.
    #[error("{file}: is a folder; name a recording in it")]
    Folder {
        /// Name of the folder.
        file: String,
    },
    /// The file is empty.
    #[error("{file}: is empty; export the recording again")]
    Empty {
        /// Name of the recording.
        file: String,
    },
    /// A Parquet file, which needs the feature `parquet` and cannot be read from a pipe.
    #[error(
        "{file}: is a Parquet file, which this build or a pipe can't read; build with `--features parquet` and name the file, or export it as CSV"
    )]
    NoParquet {
        /// Name of the recording.
        file: String,
    },
    /// No line has two numbers side by side.
    #[error(
        "{file}, line {line}: no rows of numbers up to here; a recording needs command and feedback in columns side by side; if it has them, give --delimiter and --decimal, or export with ';' between columns"
    )]
    NoRows {
        /// Name of the recording.
        file: String,
        /// Last line that was examined.
        line: u64,
    },
    /// Two combinations of delimiter and decimal sign fit equally well.
    #[error(
        "{file}, line {line}: the rows can be read with {first} or with {second}; choose with --delimiter and --decimal"
    )]
    Undecided {
        /// Name of the recording.
        file: String,
        /// First line of numbers.
        line: u64,
        /// First combination.
        first: String,
        /// Second combination.
        second: String,
    },
    /// A column is missing, ambiguous or unknown.
    #[error("{file}, line {line}: {wrong}; name {flag}, one of: {columns}")]
    Column {
        /// Name of the recording.
        file: String,
        /// Line of the header, or of the first row.
        line: u64,
        /// What is wrong.
        wrong: String,
        /// With which options to name which: `it with --time`.
        flag: String,
        /// The columns of the recording.
        columns: String,
    },
    /// The recording can be read, but its content can't be used.
    #[error("{file}, line {line}: {wrong}; {remedy}")]
    Recording {
        /// Name of the recording.
        file: String,
        /// Line that shows the problem.
        line: u64,
        /// What is wrong.
        wrong: String,
        /// What to do.
        remedy: String,
    },
    /// The reader of the output has closed it.
    #[error("the output is closed; nothing more was written")]
    Closed,
    /// The output can't be written.
    #[error("the output can't be written: {0}; check the disk")]
    Output(io::Error),
    /// A picture can't be drawn.
    #[error("{0}")]
    Picture(Box<dyn std::error::Error + Send + Sync>),
    /// A store can't be used.
    #[error("{file}: {wrong}; {remedy}")]
    Store {
        /// Name of the store.
        file: String,
        /// What is wrong.
        wrong: String,
        /// What to do.
        remedy: String,
    },
    /// A monitor can't be reached, or the connection to it failed.
    #[error("{place}: {wrong}; {remedy}")]
    Unreached {
        /// The source as it was given.
        place: String,
        /// What is wrong.
        wrong: String,
        /// What to do.
        remedy: String,
    },
    /// An option of the command can't be used.
    #[error("{option} {value}: {wrong}; {remedy}")]
    Option {
        /// The option as it is typed.
        option: String,
        /// Its value.
        value: String,
        /// What is wrong.
        wrong: String,
        /// What to do.
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

    /// A position window that is not above 0.
    pub fn window(value: impl ToString) -> Error {
        Error::Option {
            option: "--window".to_string(),
            value: value.to_string(),
            wrong: "a position window must be a plain number larger than 0".to_string(),
            remedy: "give its half-width in the unit of the recording, such as 0.01".to_string(),
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
                flag: "it with --time".into(),
                columns: "1 a, 2 b".into(),
            },
            &["axis.csv, line 1: no time column", "--time", "1 a, 2 b"],
        );
        assert_eq!((Error::window(0).status(), Error::Empty { file: file() }.status()), (2, 1));
        check(Error::window(0), &["--window 0", "larger than 0", "0.01"]);
    }
}
