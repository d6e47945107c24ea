//! In: options of a sign-off, and recordings as they are measured. Out: the verdict on stderr, the page, the exit status.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use clap::Args;
use jiff::Timestamp;
use jiff::tz::TimeZone;
use stillpoint_core::Fraction;

use super::notes;
use super::option_value::{positive, probability};
use super::output::notify;
use super::page_options::PageOptions;
use super::recordings;
use crate::error::Error;
use crate::measure::{MeasureOptions, Summary};
use crate::page::about;
use crate::page::sign_off::{Recording, SignOff, page};
use crate::plot::{Drawn, IN_95_OF_100, PlottedMove, Sheet};
use crate::report::kind_moves::numbers;
use crate::report::limit::{Checked, Limit, as_judged};
use crate::report::move_report::MoveReport;
use crate::report::number;
use crate::report::number::{plain, plain_to};
use crate::trace::Layout;

/// Exit status where a limit is not shown to be kept.
pub(super) const NOT_KEPT: u8 = 3;

#[derive(Args)]
#[command(next_help_heading = "Sign-off")]
pub(super) struct SignOffOptions {
    /// Latest settling time: says whether the moves keep it, and exits with 3 if that is not shown
    ///
    /// Every recorded move must have settled within it, or with --limit-share that share of all such moves, as a whole and
    /// kind by kind. A move that is not shown to have settled within it counts against it.
    #[arg(long, value_name = "L", value_parser = positive, allow_negative_numbers = true)]
    limit_ms: Option<f64>,
    /// Share of all such moves, not only of the recorded ones, that must keep the limit: 0.99
    #[arg(long, value_name = "P", value_parser = probability, requires = "limit_ms")]
    limit_share: Option<f64>,
    /// Probability with which the share holds
    #[arg(long, value_name = "C", value_parser = probability, default_value = "0.95", requires = "limit_ms")]
    limit_confidence: f64,
    /// Name of the axis or the machine, for the heading of the page
    #[arg(long, value_name = "TEXT", requires = "report")]
    name: Option<String>,
    /// What was changed before the recording, in words or as a CSV file of name, old, new, unit; may be repeated
    #[arg(long, value_name = "TEXT|CSV", requires = "report")]
    changed: Vec<String>,
    #[command(flatten)]
    page: PageOptions,
}

impl SignOffOptions {
    /// What collects the moves; none where no limit is given. Checks all that can be checked before measuring.
    pub(super) fn begin(&self, files: &[PathBuf]) -> Result<Option<Collected>, Error> {
        self.page.check()?;
        let Some(limit_ms) = self.limit_ms else {
            return match &self.page.report {
                None => Ok(None),
                Some(path) => Err(Error::Option {
                    option: "--report".to_owned(),
                    value: path.display().to_string(),
                    wrong: "there is nothing to sign without a limit".to_owned(),
                    remedy: "give --limit-ms L, the latest settling time, or --plot for pictures alone"
                        .to_owned(),
                }),
            };
        };
        let limit =
            Limit { settling_s: 1e-3 * limit_ms, share: self.limit_share, confidence: self.limit_confidence };
        Ok(Some(Collected {
            changed: notes::changes(&self.changed)?,
            ..Collected::new(limit, hashes(files)?)
        }))
    }

    /// Whether pictures are needed.
    pub(super) fn has_page(&self) -> bool {
        self.page.report.is_some()
    }

    /// Says the verdict, writes the page, and returns the exit status of the verdict.
    pub(super) fn finish(
        &self,
        collected: Collected,
        options: &MeasureOptions,
        sheet: &Sheet,
        summary_notes: &[String],
    ) -> Result<u8, Error> {
        let Collected { limit, mut moves, recordings, changed, step, unit, is_whole, .. } = collected;
        let unit = unit.unwrap_or_default();
        let checked = Checked::new(&moves, (step, &unit), limit, is_whole);
        let kinds = numbers(&moves, step);
        for (report, kind) in moves.iter_mut().zip(kinds) {
            report.kind = kind.map(|kind| kind.to_string());
        }
        notify(format_args!("{}. {}", checked.heading(), checked.found().join(" ")));
        for report in &mut moves {
            *report = as_judged(report);
        }
        let pictures = pictures(sheet, limit.settling_s);
        self.page.write(|| {
            Ok(page(&SignOff {
                name: self.name.clone().unwrap_or_else(|| names(&moves, &recordings)),
                moves: &moves,
                checked: &checked,
                window: window(options, &unit),
                definition: options.definition,
                rest_time_s: 1e-3 * options.rest_time_ms,
                recordings,
                changed,
                notes: summary_notes,
                pictures,
                made: about::instant(Timestamp::now(), &TimeZone::system()),
            }))
        })?;
        Ok(if checked.verdict.is_pass() { 0 } else { NOT_KEPT })
    }
}

/// The pictures of a sheet, with the same ± as the verdict. Unit: s
fn pictures(sheet: &Sheet, limit: f64) -> Vec<Drawn> {
    let reports: Vec<MoveReport> = sheet.moves.iter().map(|shown| as_judged(shown.report)).collect();
    let moves = reports.iter().zip(&sheet.moves);
    let moves = moves.map(|(report, shown)| PlottedMove { report, samples: shown.samples }).collect();
    crate::plot::drawn(&Sheet { moves, plus_minus: IN_95_OF_100, ..sheet.clone() }, limit)
}

/// SHA-256 of each recording. Those with the same bytes are refused: their moves would count twice, as evidence that is none.
fn hashes(files: &[PathBuf]) -> Result<BTreeMap<PathBuf, String>, Error> {
    let mut hashes = BTreeMap::new();
    // What can't be read is reported when it is measured; standard input can't be read twice.
    for file in files.iter().filter(|file| file.is_file()) {
        let Ok(hash) = about::sha256(file) else { continue };
        if let Some((before, _)) = hashes.iter().find(|(_, known)| **known == hash) {
            let before: &PathBuf = before;
            return Err(Error::Option {
                option: "FILE".to_owned(),
                value: file.display().to_string(),
                wrong: format!("holds the same bytes as {}: its moves would count twice", before.display()),
                remedy: "give each recording once".to_owned(),
            });
        }
        hashes.insert(file.clone(), hash);
    }
    Ok(hashes)
}

/// `± 0.05 mm held for 10 ms`.
fn window(options: &MeasureOptions, unit: &str) -> String {
    let (window, time) = (plain_to(options.window.to_f64(), 6), plain(options.window_time_ms));
    format!("± {window} {unit} held for {time} ms")
}

/// The axes by the names of their recordings.
fn names(moves: &[MoveReport], recordings: &[Recording]) -> String {
    let mut names: Vec<&str> = moves.iter().map(|report| report.axis.as_str()).collect();
    if names.is_empty() {
        names = recordings.iter().map(|recording| recording.file.as_str()).collect();
    }
    about::listed(&names, "recordings")
}

/// What has been measured so far.
pub(super) struct Collected {
    limit: Limit,
    moves: Vec<MoveReport>,
    recordings: Vec<Recording>,
    changed: Vec<String>,
    /// Smallest change of feedback, the largest of all recordings. Unit: that of the recordings
    step: f64,
    unit: Option<String>,
    is_whole: bool,
    /// SHA-256 of the recordings.
    hashes: BTreeMap<PathBuf, String>,
}

impl Collected {
    fn new(limit: Limit, hashes: BTreeMap<PathBuf, String>) -> Collected {
        Collected {
            limit,
            hashes,
            moves: Vec::new(),
            recordings: Vec::new(),
            changed: Vec::new(),
            step: 0.0,
            unit: None,
            is_whole: true,
        }
    }

    /// Another move.
    pub(super) fn push(&mut self, report: &MoveReport) {
        self.moves.push(report.clone());
    }

    /// A recording is about to be measured; all must have one unit, as they are one axis.
    pub(super) fn begin(&mut self, name: &str, layout: &Layout) -> Result<(), Error> {
        let unit = self.unit.get_or_insert_with(|| layout.unit.clone());
        if *unit != layout.unit {
            return Err(recordings::other_unit(name, &layout.unit, unit));
        }
        self.step = self.step.max(recordings::encoder_step(layout));
        Ok(())
    }

    /// A recording was measured.
    pub(super) fn add(
        &mut self,
        path: &Path,
        name: &str,
        layout: &Layout,
        summary: &Summary,
    ) -> Result<(), Error> {
        self.is_whole &= summary.stopped.is_none();
        let hash = match path.as_os_str() == "-" {
            true => "none: it came from standard input".to_owned(),
            false => self.hashes.get(path).cloned().map_or_else(|| about::sha256(path), Ok)?,
        };
        let mut facts = vec![
            ("File".to_owned(), name.to_owned()),
            ("SHA-256".to_owned(), hash),
            (
                "Rows".to_owned(),
                format!(
                    "{} read; {} where rows are missing or can't be read",
                    summary.readings,
                    number::count(summary.faults, "place")
                ),
            ),
        ];
        facts.extend(facts_of(layout));
        self.recordings.push(Recording { file: name.to_owned(), facts });
        Ok(())
    }

    /// A recording can't be used, so that the moves are not all.
    pub(super) fn lacks_one(&mut self) {
        self.is_whole = false;
    }
}

/// How the columns were read.
fn facts_of(layout: &Layout) -> Vec<(String, String)> {
    let (time, command, feedback) = &layout.columns;
    let time = time.as_ref().map_or("none, the rate was given".to_owned(), |name| format!("'{name}'"));
    let (upper, lower) = layout.command_scale;
    let command_scale = match (upper, lower) {
        (1, 1) => String::new(),
        _ => format!("; {upper}/{lower} feedback counts for each command count"),
    };
    let counts = layout.counts_per_unit;
    let facts = [
        ("Columns", format!("time {time}, command '{command}', feedback '{feedback}'")),
        ("Unit", layout.unit.clone()),
        ("Scale", format!("{} counts in one {}{command_scale}", counts_text(counts), layout.unit)),
        ("Encoder step", format!("{} {}", plain(recordings::encoder_step(layout)), layout.unit)),
        ("Sample period", format!("{} ms", plain(1e3 * layout.sample_period_s))),
    ];
    facts.map(|(name, value)| (name.to_owned(), value)).to_vec()
}

/// `17476.2667 (1048576/60)`; a whole number stands alone.
fn counts_text(counts: Fraction) -> String {
    match counts.denominator() {
        1 => counts.numerator().to_string(),
        _ => format!("{} ({counts})", plain_to(counts.to_f64(), 9)),
    }
}
