//! In: a monitor on a line and what it is asked. Out: its answers; or a board with the monitor's image on it.

use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::{SystemTime, UNIX_EPOCH};

use clap::{Args, Subcommand};
use stillpoint_core::wire::command::{Command, DumpSince, SetClock};

use super::output::tell;
use crate::command::Commands;
use crate::decode::{Decoder, Said};
use crate::error::Error;
use crate::source::{self, Line, probe};

/// Ask a monitor something, or make a board one
#[derive(Args)]
#[command(after_help = EXAMPLES)]
pub struct Arguments {
    /// serial:PATH, tcp:HOST:PORT or probe:CHIP
    source: String,
    #[command(subcommand)]
    question: Question,
}

const EXAMPLES: &str = "\
Examples:
  stillpoint device serial:/dev/ttyACM0 identify
  stillpoint device probe:STM32G474RETx flash stillpoint-nucleo-g474re";

#[derive(Subcommand)]
enum Question {
    /// Who it is and what it is set to
    Identify,
    /// Set its clock to this computer's
    SetClock,
    /// Count the moves in its log since a frame
    DumpSince {
        /// Start of the monitor
        boot: u32,
        /// Number of the first frame
        sequence: u32,
    },
    /// Write the monitor's image to the chip at probe:CHIP, check it and start it
    Flash {
        /// The ELF file that cargo built
        image: PathBuf,
    },
}

impl Question {
    fn command(&self) -> Command {
        match *self {
            Question::DumpSince { boot, sequence } => {
                Command::DumpSince(DumpSince { boot, priority: 1, sequence })
            }
            Question::SetClock => {
                let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
                Command::SetClock(SetClock { now: i64::try_from(since.as_micros()).unwrap_or(i64::MAX) })
            }
            Question::Identify | Question::Flash { .. } => Command::Identify,
        }
    }
}

/// Makes the board a monitor, or asks one.
pub fn run(arguments: &Arguments) -> Result<ExitCode, Error> {
    match &arguments.question {
        Question::Flash { image } => flash(&arguments.source, image),
        question => ask(&arguments.source, question),
    }
}

fn flash(place: &str, image: &Path) -> Result<ExitCode, Error> {
    let Some(chip) = place.strip_prefix("probe:") else {
        return Err(unfit(place, "is no probe", "say probe:CHIP"));
    };
    probe::flash(chip, image)?;
    println!("{} is on the chip, was read back and runs", image.display());
    tell(format_args!("listen with `stillpoint watch {place} --image {}`", image.display()));
    Ok(ExitCode::SUCCESS)
}

fn unfit(place: &str, wrong: &str, remedy: &str) -> Error {
    Error::Option {
        option: "SOURCE".to_owned(),
        value: place.to_owned(),
        wrong: wrong.to_owned(),
        remedy: remedy.to_owned(),
    }
}

/// Asks, and prints answers until the monitor has told how it fares, or the line ends.
fn ask(place: &str, question: &Question) -> Result<ExitCode, Error> {
    let Line { mut reader, writer } = source::open(place)?;
    let Some(mut writer) = writer else {
        return Err(unfit(place, "takes no commands", "say serial:PATH, tcp:HOST:PORT or probe:CHIP"));
    };
    let failed = |error| source::failed(place, error);
    writer.write_all(&Commands::default().bytes(&question.command())).map_err(failed)?;
    let (mut decoder, mut bytes, mut moves, mut done) = (Decoder::default(), [0; 4096], 0_u64, false);
    let mut axes_left = 0;
    while !done {
        let count = reader.read(&mut bytes).map_err(failed)?;
        done = count == 0;
        decoder.take(bytes.get(..count).unwrap_or_default(), &mut |said| match said {
            Said::Hello { board, firmware, axes, ticks_per_second } => {
                println!("board {board}, firmware {firmware}, {axes} axes, {ticks_per_second} ticks/s");
                axes_left = axes;
                done |= matches!(question, Question::SetClock);
            }
            Said::Settings(settings) => {
                println!("axis {}: {:?}", settings.axis, settings.parameters);
                axes_left = axes_left.saturating_sub(1);
                done |= matches!(question, Question::Identify) && axes_left == 0;
            }
            Said::Move(_) => moves += 1,
            Said::Status(_) => done |= matches!(question, Question::DumpSince { .. }),
            Said::Gap(_) | Said::Missing(_) | Said::Finding(_) | Said::Alarm(_) => (),
            Said::Arranged(_) | Said::Kind(_) | Said::Baseline(_) | Said::Drift(_) | Said::Restart(_) => (),
        });
    }
    if matches!(question, Question::DumpSince { .. }) {
        tell(format_args!("{moves} moves came"));
    }
    Ok(ExitCode::SUCCESS)
}
