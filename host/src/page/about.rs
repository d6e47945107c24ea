//! In: the program, the clock and the files on the disk. Out: what a page says of where its numbers come from.

use std::io::Read;
use std::path::Path;

use jiff::Timestamp;
use jiff::tz::TimeZone;
use sha2::{Digest, Sha256};

use super::model::{Block, Column, Page, Row, Table};
use crate::error::Error;
use crate::report::wall_time;

/// Most names in a line.
const MOST_NAMES: usize = 3;

/// `stillpoint 0.1.0 (commit 4be10c2)`; the commit is known if `STILLPOINT_COMMIT` was set when the program was built.
pub fn program() -> String {
    let commit = option_env!("STILLPOINT_COMMIT")
        .map_or("commit not known".to_owned(), |commit| format!("commit {commit}"));
    format!("stillpoint {} ({commit})", env!("CARGO_PKG_VERSION"))
}

/// `2026-05-04 16:02:07 Europe/Berlin, 2026-05-04T14:02:07Z`; in UTC once.
pub fn instant(time: Timestamp, zone: &TimeZone) -> String {
    let (local, zone) = (wall_time::second(time.as_microsecond(), zone), wall_time::zone(zone));
    if zone == wall_time::UTC {
        return format!("{local} {zone}");
    }
    format!("{local} {zone}, {}", time.strftime("%Y-%m-%dT%H:%M:%SZ"))
}

/// The foot of a page made now.
pub fn foot(made: &str) -> String {
    format!("{}; made {made}", program())
}

/// SHA-256 of a file in hexadecimal digits.
pub fn sha256(path: &Path) -> Result<String, Error> {
    let unreadable = |source| Error::Unreadable { file: path.display().to_string(), source };
    let mut file = std::fs::File::open(path).map_err(unreadable)?;
    let (mut hash, mut block) = (Sha256::new(), vec![0; 1 << 16]);
    loop {
        match file.read(&mut block).map_err(unreadable)? {
            0 => return Ok(hash.finalize().iter().map(|byte| format!("{byte:02x}")).collect()),
            count => hash.update(&block[..count]),
        }
    }
}

/// Sentences one below the other; `None.` where there are none.
pub fn list(texts: Vec<String>) -> Block {
    if texts.is_empty() { Block::Text("None.".to_owned()) } else { Block::List(texts) }
}

/// Names in a line, each once: `a, b`; more than a line holds are counted: `12 recordings`.
pub fn listed(names: &[&str], many: &str) -> String {
    let mut each: Vec<&str> = Vec::new();
    for name in names {
        if !each.contains(name) {
            each.push(name);
        }
    }
    if each.len() > MOST_NAMES { format!("{} {many}", each.len()) } else { each.join(", ") }
}

/// What is to be written on the lines of a page that is handed over.
pub fn lines() -> Vec<String> {
    ["Prepared by, date", "Accepted by, date", "Machine, serial number"].map(str::to_owned).to_vec()
}

/// A table of recordings with their hashes; what is no file has none. Each with the name of its group, if there are several.
pub fn recordings(groups: &[(&str, Vec<String>)]) -> Result<Table, Error> {
    let mut rows = Vec::new();
    for (group, file) in groups.iter().flat_map(|(group, files)| files.iter().map(move |file| (group, file)))
    {
        let path = Path::new(file);
        let hash = if path.is_file() { sha256(path)? } else { "none: it is no file".to_owned() };
        let group = (groups.len() > 1).then(|| (*group).to_owned());
        rows.push(Row {
            cells: group.into_iter().chain([file.clone(), hash]).collect(),
            remark: String::new(),
            is_bold: false,
        });
    }
    let group = (groups.len() > 1).then_some("group");
    let columns = group.into_iter().chain(["file", "SHA-256"]).map(Column::text).collect();
    Ok(Table { caption: String::new(), columns, rows })
}

/// What a person must know who works by a page, at its end.
pub fn safety(page: &mut Page) {
    page.blocks.push(Block::Heading("Safety".to_owned()));
    page.blocks.push(Block::Text(
        "Recording signals of a running axis and tuning its drive mean working near moving machinery and in control \
         cabinets. Follow local codes and the manuals of the machine and of the drive; keep clear of the axis while it may \
         move. Leave work on mains, drive wiring and drive settings to people qualified for it. Stillpoint only listens; it \
         is no safety function, and this page says nothing of the safety of the machine."
            .to_owned(),
    ));
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The test vectors of FIPS 180-2, appendices B.1 and B.3.
    #[test]
    fn hashes_are_those_of_the_standard() {
        let path = std::env::temp_dir().join(format!("stillpoint-hash-{}", std::process::id()));
        for (bytes, expected) in [
            ("abc".to_owned(), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
            ("a".repeat(1_000_000), "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"),
        ] {
            std::fs::write(&path, bytes).unwrap();
            assert_eq!(sha256(&path).unwrap(), expected);
        }
        std::fs::remove_file(&path).unwrap();
        assert!(sha256(&path).unwrap_err().to_string().contains("can't be read"));
    }

    #[test]
    fn many_names_are_counted() {
        assert_eq!(listed(&["a", "b", "a"], "recordings"), "a, b");
        assert_eq!(listed(&["a", "b", "c", "d", "a"], "recordings"), "4 recordings");
        assert_eq!(listed(&[], "recordings"), "");
    }

    #[test]
    fn an_instant_is_local_and_utc() {
        let time = Timestamp::from_second(1_777_931_999).unwrap();
        let zone = TimeZone::fixed(jiff::tz::offset(2));
        assert_eq!(instant(time, &zone), "2026-05-04 23:59:59 UTC+02, 2026-05-04T21:59:59Z");
        assert_eq!(instant(time, &TimeZone::UTC), "2026-05-04 21:59:59 UTC");
    }
}
