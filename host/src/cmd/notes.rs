//! In: notes of what was changed, as text and as files. Out: one note for each change.

use std::path::{Path, PathBuf};

use crate::error::Error;
use crate::report::number;

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
    let bytes = std::fs::read(name).map_err(|source| Error::Unreadable { file: name.to_owned(), source })?;
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .trim(csv::Trim::All)
        .from_reader(bytes.as_slice());
    let mut parts = Vec::new();
    for (line, row) in (1..).zip(reader.records()) {
        let wrong = |wrong: String| Error::Recording {
            file: name.to_owned(),
            line,
            wrong,
            remedy: "write name, old, new, unit in each line".to_owned(),
        };
        let row = row.map_err(|error| wrong(format!("is no CSV: {error}")))?;
        if !(3..=4).contains(&row.len()) {
            return Err(wrong(format!("has {}", number::count(row.len(), "field"))));
        }
        let unit =
            row.get(3).filter(|unit| !unit.is_empty()).map_or(String::new(), |unit| format!(" {unit}"));
        // A header names the columns.
        if line > 1 || !(row[1].eq_ignore_ascii_case("old") && row[2].eq_ignore_ascii_case("new")) {
            parts.push(format!("{} {} → {}{unit}", &row[0], &row[1], &row[2]));
        }
    }
    Ok(parts)
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
}
