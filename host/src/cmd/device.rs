//! In: a monitor on a line and what it is asked. Out: its answers.

use std::io::{Read, Write};
use std::process::ExitCode;
use std::time::{SystemTime, UNIX_EPOCH};

use clap::{Args, Subcommand};
use stillpoint_core::wire::command::{Command, DumpSince, SetClock};

use super::output::tell;
use crate::command::Commands;
use crate::decode::{Decoder, Said};
use crate::error::Error;
use crate::source::{self, Line};

/// Ask a monitor something
#[derive(Args)]
pub struct Arguments {
    /// serial:PATH or tcp:HOST:PORT
    source: String,
    #[command(subcommand)]
    question: Question,
}

#[derive(Subcommand, Clone, Copy)]
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
}

impl Question {
    fn command(self) -> Command {
        match self {
            Question::Identify => Command::Identify,
            Question::DumpSince { boot, sequence } => {
                Command::DumpSince(DumpSince { boot, priority: 1, sequence })
            }
            Question::SetClock => {
                let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
                Command::SetClock(SetClock { now: i64::try_from(since.as_micros()).unwrap_or(i64::MAX) })
            }
        }
    }
}

/// Asks, and prints answers until the monitor has told how it fares, or the line ends.
pub fn run(arguments: &Arguments) -> Result<ExitCode, Error> {
    let Line { mut reader, writer } = source::open(&arguments.source)?;
    let Some(mut writer) = writer else {
        return Err(Error::Option {
            option: "SOURCE".to_owned(),
            value: arguments.source.clone(),
            wrong: "takes no commands".to_owned(),
            remedy: "say serial:PATH or tcp:HOST:PORT".to_owned(),
        });
    };
    let mut commands = Commands::default();
    writer.write_all(&commands.bytes(&arguments.question.command()))?;
    let (mut decoder, mut bytes, mut moves, mut done) = (Decoder::default(), [0; 4096], 0_u64, false);
    let mut axes_left = 0;
    while !done {
        let read = reader.read(&mut bytes);
        let count = read.map_err(|source| Error::Unreadable { file: arguments.source.clone(), source })?;
        done = count == 0;
        decoder.take(bytes.get(..count).unwrap_or_default(), &mut |said| match said {
            Said::Hello { board, firmware, axes, ticks_per_second } => {
                println!("board {board}, firmware {firmware}, {axes} axes, {ticks_per_second} ticks/s");
                axes_left = axes;
                done |= matches!(arguments.question, Question::SetClock);
            }
            Said::Settings(settings) => {
                println!("axis {}: {:?}", settings.axis, settings.parameters);
                axes_left = axes_left.saturating_sub(1);
                done |= matches!(arguments.question, Question::Identify) && axes_left == 0;
            }
            Said::Move(_) => moves += 1,
            Said::Status(_) => done |= matches!(arguments.question, Question::DumpSince { .. }),
            Said::Gap(_) | Said::Missing(_) | Said::Finding(_) | Said::Alarm(_) => (),
        });
    }
    if matches!(arguments.question, Question::DumpSince { .. }) {
        tell(format_args!("{moves} moves came"));
    }
    Ok(ExitCode::SUCCESS)
}
