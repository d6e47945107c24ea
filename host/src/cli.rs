//! In: arguments. Out: one command run; exit status 0 done, 1 unusable input, 2 wrong arguments.

use std::ffi::OsString;
use std::process::ExitCode;

use clap::error::{ContextKind, ContextValue, ErrorKind};
use clap::{Parser, Subcommand};

use crate::cmd;
use crate::error::Error;

/// Measures every move of a servo positioning axis: the time from the end of the command until the axis
/// stays inside its position window
#[derive(Parser)]
#[command(name = "stillpoint", version, max_term_width = 100, args_conflicts_with_subcommands = true)]
struct Cli {
    /// Without a command: rehearse an hour on the virtual machine
    #[command(subcommand)]
    command: Option<Command>,
}

#[derive(Subcommand)]
enum Command {
    Measure(Box<cmd::measure::Arguments>),
    Identify(Box<cmd::identify::Arguments>),

    Compare(Box<cmd::compare::Arguments>),
    Window(Box<cmd::window::Arguments>),
    Explain(Box<cmd::explain::Arguments>),
    Rehearse(cmd::rehearse::Arguments),
    Watch(cmd::watch::Arguments),
    Note(cmd::note::Arguments),
    Device(cmd::device::Arguments),
    Moves(cmd::moves::Arguments),
    Alarms(cmd::alarms::Arguments),
    Trend(cmd::trend::Arguments),
    Shift(cmd::shift::Arguments),
    Store(Box<cmd::store::Arguments>),
}

/// Runs the command that the arguments name.
pub fn run(arguments: impl IntoIterator<Item = OsString>) -> ExitCode {
    let cli = match Cli::try_parse_from(arguments).map_err(with_hint) {
        Ok(cli) => cli,
        Err(message) => {
            // Help goes to stdout and holds no argument, errors to stderr. A failure to print cannot be reported.
            match message.use_stderr() {
                true => cmd::notify_lines(message.render()),
                false => drop(message.print()),
            }
            return ExitCode::from(if message.use_stderr() { 2 } else { 0 });
        }
    };
    let result = match cli.command {
        None => cmd::rehearse::run(&cmd::rehearse::Arguments::default()),
        Some(Command::Measure(arguments)) => cmd::measure::run(&arguments),
        Some(Command::Identify(arguments)) => cmd::identify::run(&arguments),

        Some(Command::Compare(arguments)) => cmd::compare::run(&arguments),
        Some(Command::Window(arguments)) => cmd::window::run(&arguments),
        Some(Command::Explain(arguments)) => cmd::explain::run(&arguments),
        Some(Command::Rehearse(arguments)) => cmd::rehearse::run(&arguments),
        Some(Command::Watch(arguments)) => cmd::watch::run(&arguments),
        Some(Command::Note(arguments)) => cmd::note::run(&arguments),
        Some(Command::Device(arguments)) => cmd::device::run(&arguments),
        Some(Command::Moves(arguments)) => cmd::moves::run(&arguments),
        Some(Command::Alarms(arguments)) => cmd::alarms::run(&arguments),
        Some(Command::Trend(arguments)) => cmd::trend::run(&arguments),
        Some(Command::Shift(arguments)) => cmd::shift::run(&arguments),
        Some(Command::Store(arguments)) => cmd::store::run(&arguments),
    };
    match result {
        // A reader that closes the pipe early, such as `head`, is no failure.
        Err(Error::Closed) => ExitCode::SUCCESS,
        Ok(status) => status,
        Err(error) => {
            cmd::notify(format_args!("stillpoint: {error}"));
            ExitCode::from(error.status())
        }
    }
}

/// A missing position window, with the command that helps to choose one.
fn with_hint(mut error: clap::Error) -> clap::Error {
    let lacks_window = match (error.kind(), error.get(ContextKind::InvalidArg)) {
        (ErrorKind::MissingRequiredArgument, Some(ContextValue::Strings(missing))) => {
            missing.iter().any(|option| option.starts_with("--window"))
        }
        _ => false,
    };
    if lacks_window {
        let hint = "`stillpoint window FILE` shows how soon the axis settles within each window";
        error.insert(ContextKind::Suggested, ContextValue::StyledStrs(vec![hint.into()]));
    }
    error
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_missing_window_comes_with_the_command_that_shows_windows() {
        let text = |arguments: &[&str]| {
            Cli::try_parse_from(arguments).map_err(with_hint).err().expect("an error").to_string()
        };
        let missing = text(&["stillpoint", "measure", "axis.csv"]);
        assert!(
            missing.contains("--window <W>") && missing.contains("`stillpoint window FILE`"),
            "{missing}"
        );
        let other = text(&["stillpoint", "measure", "--window", "0.05"]);
        assert!(!other.contains("stillpoint window"), "{other}");
    }
}
