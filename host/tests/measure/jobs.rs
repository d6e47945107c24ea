//! The job of a move: from a column, and where it changes.

use super::*;

/// A step of 1 mm out or back every 400 rows of 1 ms, and beside it a column with these cells.
fn recording(header: &str, cell: impl Fn(usize) -> String) -> Vec<String> {
    let row = |row: usize| {
        let at = (row % 400) as f64;
        let share = ((at - 100.0) / 100.0).clamp(0.0, 1.0);
        let share = share * share * (3.0 - 2.0 * share);
        let position = if (row / 400).is_multiple_of(2) { share } else { 1.0 - share };
        format!("{:.3},{position:.4},{position:.4},{}", row as f64 * 1e-3, cell(row))
    };
    std::iter::once(format!("t_s,command_mm,feedback_mm,{header}")).chain((0..4000).map(row)).collect()
}

/// The job of each move, and what is printed besides.
fn measured(name: &str, rows: Vec<String>, options: &str) -> (Vec<Option<u64>>, String) {
    let folder = Folder::with_axis(name);
    folder.write("jobs.csv", rows.join("\n") + "\n");
    let ran = folder.run(&format!("jobs.csv --window 0.01 --format jsonl {options}"));
    let jobs = ran.lines().iter().map(|line| line["job"].as_u64()).collect();
    (jobs, ran.stderr.clone())
}

#[test]
fn a_move_has_the_job_that_was_set_when_it_began() {
    // Moves begin with row 100, 500, 900 … The job changes in a move, in another one, and with the last row before one.
    let cell = |row: usize| match row {
        0..1350 => "7",
        1350..2160 => "8",
        2160..3700 => "4201",
        _ => "9",
    };
    let expected = [7, 7, 7, 7, 8, 8, 4201, 4201, 4201, 9].map(Some);
    for (header, options) in [("job", ""), ("Recipe No", ""), ("x", "--job x"), ("x", "--job 4")] {
        let (jobs, notes) = measured("jobs", recording(header, |row| cell(row).to_owned()), options);
        assert_eq!(jobs, expected, "{header} {options}");
        let note = format!("column '{header}' holds the job of each move");
        assert!(notes.contains(&note), "{notes}");
    }
    // Written in one row of fifty, and nothing before the first.
    let sparse = |row: usize| if row % 50 == 25 { cell(row).to_owned() } else { String::new() };
    let expected = [7, 7, 7, 7, 8, 8, 4201, 4201, 4201, 4201].map(Some);
    assert_eq!(measured("jobs-sparse", recording("job", sparse), "--job job").0, expected);
}

#[test]
fn what_is_no_number_is_no_job() {
    let none = vec![None; 10];
    let letter = |row: usize| if row < 2160 { "A1" } else { "A2" }.to_owned();
    assert_eq!(measured("jobs-text", recording("job", letter), "").0, none, "by sense only whole numbers");
    let count = |row: usize| (row / 400).to_string();
    assert_eq!(measured("jobs-count", recording("product count", count), "").0, none);
    let (_, error) = measured("jobs-wrong", recording("job", letter), "--job job");
    assert!(error.contains("column 'job' does not hold whole numbers, as a job must"), "{error}");
    let later = |row: usize| if row < 1350 { "7" } else { "broken" }.to_owned();
    let expected = [[Some(7); 4].to_vec(), vec![None; 6]].concat();
    assert_eq!(measured("jobs-later", recording("job", later), "").0, expected);
}

#[test]
fn a_step_in_the_first_row_has_its_job() {
    let row =
        |row: usize| format!("{:.3},1.000,{},7", row as f64 * 1e-3, if row < 30 { "0.012" } else { "1.003" });
    let rows = std::iter::once("t,command,feedback,job".to_owned()).chain((0..400).map(row)).collect();
    let (jobs, notes) = measured("jobs-step", rows, "--unit mm --from 0");
    assert_eq!(jobs, [Some(7)], "{notes}");
}

#[test]
fn a_job_changes_no_other_number() {
    let folder = Folder::with_axis("jobs-alone");
    folder.write("with.csv", recording("job", |row| (row / 777).to_string()).join("\n"));
    folder.write("without.csv", recording("other", |row| (row / 777).to_string()).join("\n"));
    let lines = |file: &str| {
        let mut lines = folder.run(&format!("{file} --window 0.01 --format jsonl")).lines();
        for line in &mut lines {
            let line = line.as_object_mut().expect("an object");
            line.remove("job");
            line.remove("file");
            line.remove("axis");
        }
        lines
    };
    assert_eq!(lines("with.csv"), lines("without.csv"));
    let zero = measured("jobs-zero", recording("job", |_| "0".to_owned()), "");
    assert_eq!(zero.0, vec![None; 10], "job 0 is none");
}

/// What a rehearsal saves is measured with the job that its monitor was sent.
#[test]
fn a_rehearsal_of_several_products_saves_the_job() {
    let folder = Folder::new("jobs-rehearsed");
    let rehearse = |nuisance: &[&str]| {
        let words =
            ["rehearse", "--hours", "0.004", "--seed", "3", "--save-samples", "samples", "--format", "jsonl"];
        let mut command = Command::new(env!("CARGO_BIN_EXE_stillpoint"));
        Ran::of(command.current_dir(&folder.0).args(words).args(nuisance)).lines()
    };
    let rehearsed = rehearse(&["--nuisance", "product-changes"]);
    let of_dibble: Vec<_> = rehearsed.iter().filter(|line| line["axis"] == "dibble").collect();
    let options = "--counts-per-unit 13107.2 --window 0.02 --format jsonl";
    let measured = folder.run(&format!("samples/dibble.csv {options}")).lines();
    assert!(
        of_dibble.len() > 20 && of_dibble.iter().all(|line| line["job"].as_u64() > Some(0)),
        "{of_dibble:?}"
    );
    for (rehearsed, measured) in of_dibble.iter().zip(&measured) {
        for field in ["move", "job", "settling_s", "start_s"] {
            assert_eq!(rehearsed[field], measured[field], "{field} of {measured}");
        }
    }
    // One product alone has no number, and its samples no column.
    assert!(rehearse(&[]).iter().all(|line| line["job"].is_null()));
    let header = std::fs::read_to_string(folder.path("samples/dibble.csv")).expect("samples");
    assert_eq!(header.lines().next(), Some("t_s,command,feedback"));
}
