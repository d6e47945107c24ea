//! In: a CSV file that lists sources and their axes. Out: the sources with the names, units and scales of their axes.

use std::collections::BTreeMap;
use std::path::Path;

use csv::{ReaderBuilder, StringRecord, Trim};

use super::names::{Scale, WatchedSource};
use crate::error::Error;
use crate::trace::choice::fraction;

/// The columns, in any order.
const COLUMNS: [&str; 6] = ["source", "device", "axis", "name", "unit", "counts_per_unit"];

/// Reads the file. One line is one axis; the lines of a source need not stand beside each other.
pub(super) fn read(path: &Path) -> Result<Vec<WatchedSource>, Error> {
    let file = path.display().to_string();
    let unreadable = |source| Error::Unreadable { file: file.clone(), source };
    let text = std::fs::read_to_string(path).map_err(unreadable)?;
    parse(&file, &text)
}

fn parse(file: &str, text: &str) -> Result<Vec<WatchedSource>, Error> {
    let mut reader = ReaderBuilder::new().trim(Trim::All).comment(Some(b'#')).from_reader(text.as_bytes());
    let wrong = |line: u64, wrong: String, remedy: &str| Error::Recording {
        file: file.to_owned(),
        line,
        wrong,
        remedy: remedy.to_owned(),
    };
    let broken = |error: csv::Error| {
        let line = error.position().map_or(1, csv::Position::line);
        wrong(line, "has not as many cells as the first line".to_owned(), "give each line one cell a column")
    };
    let header = reader.headers().map_err(broken)?.clone();
    let place = |name: &str| header.iter().position(|column| column == name);
    let places = COLUMNS.map(place);
    if let Some((missing, _)) = COLUMNS.iter().zip(places).find(|(_, place)| place.is_none()) {
        let columns = format!("the first line names these columns: {}", COLUMNS.join(","));
        return Err(wrong(1, format!("no column is called {missing}"), &columns));
    }
    let mut sources: Vec<WatchedSource> = Vec::new();
    for record in reader.records() {
        let record = record.map_err(broken)?;
        let line = record.position().map_or(1, csv::Position::line);
        let cells = places.map(|place| cell(&record, place));
        add(&mut sources, cells).map_err(|(what, remedy)| wrong(line, what, remedy))?;
    }
    if sources.is_empty() {
        return Err(wrong(1, "lists no source".to_owned(), "add a line for each axis"));
    }
    Ok(sources)
}

fn cell(record: &StringRecord, place: Option<usize>) -> &str {
    place.and_then(|place| record.get(place)).unwrap_or_default()
}

/// Adds the axis of one line; else what is wrong, and what to do.
fn add(sources: &mut Vec<WatchedSource>, cells: [&str; 6]) -> Result<(), (String, &'static str)> {
    let [source, device, axis, name, unit, counts_per_unit] = cells;
    if source.is_empty() || device.is_empty() || name.is_empty() || unit.is_empty() {
        return Err(("source, device, name or unit is empty".to_owned(), "fill it in"));
    }
    let number: u8 = axis.parse().map_err(|_| {
        (format!("axis {axis:?} is no number of an axis"), "give a whole number from 0 to 255")
    })?;
    let counts = fraction("counts_per_unit", counts_per_unit).map_err(|_| {
        (
            format!("counts_per_unit {counts_per_unit:?} is no scale"),
            "give a number above 0, such as 1000 or 16384/5",
        )
    })?;
    let scale = Scale { unit: unit.to_owned(), counts_per_unit: counts.to_f64() };
    let known = source_of(sources, source, device)?;
    if known.axes.insert(number, (Some(name.to_owned()), scale)).is_some() {
        return Err((format!("axis {number} of {device:?} is listed twice"), "leave one line out"));
    }
    Ok(())
}

/// The source with this name and device, which is added if it is new.
fn source_of<'a>(
    sources: &'a mut Vec<WatchedSource>,
    source: &str,
    device: &str,
) -> Result<&'a mut WatchedSource, (String, &'static str)> {
    let is_device = |known: &WatchedSource| known.device.as_deref() == Some(device);
    let place = sources.iter().position(|known| known.source == source);
    match place.and_then(|place| sources.get(place)) {
        Some(known) if !is_device(known) => {
            return Err((
                format!("source {source:?} has another device above"),
                "give all its lines one device",
            ));
        }
        None if sources.iter().any(is_device) => {
            let wrong = format!("device {device:?} has another source above");
            return Err((wrong, "give each source a device of its own"));
        }
        _ => (),
    }
    let place = place.unwrap_or_else(|| {
        let scale = Scale { unit: "count".to_owned(), counts_per_unit: 1.0 };
        let (source, device) = (source.to_owned(), Some(device.to_owned()));
        sources.push(WatchedSource { source, device, axes: BTreeMap::new(), scale });
        sources.len() - 1
    });
    sources.get_mut(place).ok_or_else(|| ("lists no source".to_owned(), "add a line for each axis"))
}

#[cfg(test)]
mod tests {
    use super::*;

    const HEADER: &str = "source,device,axis,name,unit,counts_per_unit\n";

    #[test]
    fn sources_have_axes_with_names_and_scales() {
        let text = format!(
            "# invented\n{HEADER}tcp:a:1, cell 1, 0, tray shuttle, mm, 1000\ntcp:b:1,cell 2,1,dibble,mm,16384/5\n\
            tcp:a:1,cell 1,2,turntable,deg,100\n"
        );
        let sources = parse("cells.csv", &text).unwrap();
        assert_eq!(sources.len(), 2);
        assert_eq!(sources[0].axis_name(2), "cell 1/turntable");
        assert_eq!(
            (sources[0].axis_name(1), sources[0].scale(1).unit.as_str()),
            ("cell 1/axis 1".to_owned(), "count")
        );
        assert_eq!(
            (sources[1].axis_name(1), sources[1].scale(1).counts_per_unit),
            ("cell 2/dibble".to_owned(), 3276.8)
        );
    }

    #[test]
    fn what_is_wrong_is_named_with_its_line() {
        let row = "tcp:a:1,cell 1,0,tray,mm,1000\n";
        for (text, line, parts) in [
            ("source,axis\n".to_owned(), 1, ["no column is called device", "counts_per_unit"]),
            (HEADER.to_owned(), 1, ["lists no source", "a line for each axis"]),
            (format!("{HEADER}tcp:a:1,cell 1,x,tray,mm,1000\n"), 2, ["axis \"x\"", "from 0 to 255"]),
            (format!("{HEADER}{row}tcp:a:1,cell 1,1,tray,mm,0\n"), 3, ["counts_per_unit \"0\"", "above 0"]),
            (format!("{HEADER}{row}{row}"), 3, ["axis 0 of \"cell 1\" is listed twice", "leave one"]),
            (format!("{HEADER}{row}tcp:a:1,cell 2,1,tray,mm,1\n"), 3, ["another device", "one device"]),
            (format!("{HEADER}{row}tcp:b:1,cell 1,1,tray,mm,1\n"), 3, ["another source", "of its own"]),
            (format!("{HEADER}{row}tcp:b:1,cell 2\n"), 3, ["not as many cells", "one cell a column"]),
            (format!("{HEADER}{row}tcp:b:1,,1,tray,mm,1\n"), 3, ["is empty", "fill it in"]),
        ] {
            let message = parse("cells.csv", &text).unwrap_err().to_string();
            assert!(message.contains(&format!("cells.csv, line {line}: ")), "{message}");
            assert!(parts.iter().all(|part| message.contains(part)), "{message}");
        }
    }
}
