//! In: notes of what was changed, as text and as files. Out: one note for each change.

use std::path::{Path, PathBuf};

use crate::error::Error;
use crate::report::number;

/// How a file of changes is written.
const FORM: &str = "write name, old, new, unit in each line";

/// The note of each of `changes` changes: the text, then the file, of its place; empty where there is none.
pub(super) fn all(texts: &[String], files: &[PathBuf], changes: usize) -> Result<Vec<String>, Error> {
    for (option, count) in [("--note", texts.len()), ("--note-file", files.len())] {
        if count > changes {
            return Err(Error::Option {
                option: option.to_owned(),
                value: format!("given {}", number::count(count, "time")),
                wrong: format!("the changes are {changes}, one for each group after the first"),
                remedy: "give one for each of them".to_owned(),
            });
        }
    }
    let note = |at: usize| {
        let text = texts.get(at).cloned();
        let file = files.get(at).map(|file| from_file(&file.display().to_string())).transpose()?;
        let parts: Vec<String> = text.into_iter().chain(file).filter(|part| !part.is_empty()).collect();
        Ok(parts.join("; "))
    };
    (0..changes).map(note).collect()
}

/// What was changed, a sentence each: words as they are, and the lines of files.
pub(super) fn changes(texts: &[String]) -> Result<Vec<String>, Error> {
    let mut changes = Vec::new();
    for text in texts {
        let is_file = text.to_lowercase().ends_with(".csv") || Path::new(text).is_file();
        if is_file { changes.extend(lines(text)?) } else { changes.push(text.clone()) }
    }
    Ok(changes)
}

/// `belt tension 42 → 68 Hz; …` from lines of name, old, new, unit.
fn from_file(name: &str) -> Result<String, Error> {
    Ok(lines(name)?.join("; "))
}

/// A sentence for each line of name, old, new, unit.
fn lines(name: &str) -> Result<Vec<String>, Error> {
    let text = std::fs::read_to_string(name)
        .map_err(|source| Error::Unreadable { file: name.to_owned(), source })?;
    let wrong = |line: u64, wrong: &str, remedy: &str| Error::Recording {
        file: name.to_owned(),
        line,
        wrong: wrong.to_owned(),
        remedy: remedy.to_owned(),
    };
    let mut parts = Vec::new();
    for (at, line) in text.trim_start_matches('\u{FEFF}').lines().enumerate() {
        let row = row(line);
        if let Some((fault, remedy)) = fault(&row, line) {
            return Err(wrong(at as u64 + 1, &fault, remedy));
        }
        let [what, old, new, unit @ ..] = &row[..] else { continue };
        let unit =
            unit.first().filter(|unit| !unit.is_empty()).map_or(String::new(), |unit| format!(" {unit}"));
        // A header names the columns.
        if !(parts.is_empty() && old.eq_ignore_ascii_case("old") && new.eq_ignore_ascii_case("new")) {
            parts.push(format!("{what} {old} → {new}{unit}"));
        }
    }
    Ok(parts)
}

/// The fields of a line; none of an empty one.
fn row(line: &str) -> Vec<String> {
    let reader =
        csv::ReaderBuilder::new().has_headers(false).trim(csv::Trim::All).from_reader(line.as_bytes());
    let row = reader.into_records().next().and_then(Result::ok).unwrap_or_default();
    row.iter().map(str::to_owned).collect()
}

/// What is wrong with a line, and what to do; none if nothing is.
fn fault(row: &[String], line: &str) -> Option<(String, &'static str)> {
    let first = row.first()?;
    if is_open(line) {
        return Some(("has a quotation mark that is not closed".to_owned(), "close it in the same line"));
    }
    let is_of_tune = first.eq_ignore_ascii_case("minute") && row.get(1)?.eq_ignore_ascii_case("axis");
    if is_of_tune || first.parse::<f64>().is_ok() {
        let remedy =
            "write name, old, new, unit; lines of minute, axis, lever, value are for `rehearse --tune`";
        return Some((format!("begins with {first} instead of a name"), remedy));
    }
    (!(3..=4).contains(&row.len())).then(|| (format!("has {} fields", row.len()), FORM))
}

/// Whether a field in quotation marks begins in a line and does not end in it.
fn is_open(line: &str) -> bool {
    let (mut quoted, mut before) = (false, ',');
    for letter in line.chars() {
        // A doubled mark within a quoted field closes it and opens it again.
        if letter == '"' && (quoted || before == ',' || before == '"') {
            quoted = !quoted;
        }
        before = letter;
    }
    quoted
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_change_has_its_text_and_its_file() {
        let folder = std::env::temp_dir().join(format!("stillpoint-notes-{}", std::process::id()));
        std::fs::create_dir_all(&folder).unwrap();
        let write = |name: &str, text: &str| {
            std::fs::write(folder.join(name), text).unwrap();
            folder.join(name)
        };
        let file = write("a.csv", "name,old,new,unit\nbelt tension,42,68,Hz\n\"gain, position\",1,2\n");
        let texts = ["by hand".to_owned()];
        assert_eq!(
            all(&texts, std::slice::from_ref(&file), 2).unwrap(),
            ["by hand; belt tension 42 → 68 Hz; gain, position 1 → 2", ""]
        );
        let changed = [texts[0].clone(), file.display().to_string()];
        assert_eq!(
            changes(&changed).unwrap(),
            ["by hand", "belt tension 42 → 68 Hz", "gain, position 1 → 2"]
        );
        assert!(
            changes(&["none.csv".to_owned()]).unwrap_err().to_string().contains("none.csv: can't be read")
        );
        assert!(
            all(&texts, &[file.clone(), file], 1)
                .unwrap_err()
                .to_string()
                .contains("--note-file given 2 times")
        );
        let error = all(&[], &[write("b.csv", "a,1,2\nb,1\n")], 1).unwrap_err().to_string();
        assert!(error.contains("b.csv, line 2: has 2 fields; write name, old, new, unit"), "{error}");
        std::fs::remove_dir_all(&folder).unwrap();
    }

    #[test]
    fn what_is_no_list_of_changes_is_named_by_its_line() {
        let file = std::env::temp_dir().join(format!("stillpoint-notes-{}.csv", std::process::id()));
        let check = |text: &str, part: &str| {
            std::fs::write(&file, text).unwrap();
            let error = all(&[], std::slice::from_ref(&file), 1).unwrap_err().to_string();
            assert!(error.contains(part), "{text}: {error}");
        };
        check(
            "a,1,2\n\nminute,axis,lever,value\n",
            "line 3: begins with minute instead of a name; write name,",
        );
        check("1.5,dibble,position gain,60\n", "line 1: begins with 1.5 instead of a name");
        check("minute,axis,lever,value\n0,dibble,friction,10\n", "are for `rehearse --tune`");
        check("a,1,2\n\"belt,42,68\nb,1,2\n", "line 2: has a quotation mark that is not closed; close it");
        check("a,1,\"2\n", "line 1: has a quotation mark that is not closed");
        std::fs::write(&file, "\"the 2\"\" pulley\",1,2\nscrew 3\", 1,\"2\"\n").unwrap();
        let inches = all(&[], std::slice::from_ref(&file), 1).unwrap();
        assert_eq!(inches, ["the 2\" pulley 1 → 2; screw 3\" 1 → 2"]);
        std::fs::remove_file(&file).unwrap();
    }
}
