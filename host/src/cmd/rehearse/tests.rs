//! What can be asked of a rehearsal.

use super::*;
use clap::{Command, FromArgMatches};

/// What wears with these arguments, or what is said against them.
fn wearing(arguments: &[&str]) -> Result<Vec<&'static str>, String> {
    let command = Arguments::augment_args(Command::new("rehearse"));
    let told = |error: clap::Error| error.to_string();
    let matches = command.try_get_matches_from([&["rehearse"], arguments].concat()).map_err(told)?;
    let arguments = Arguments::from_arg_matches(&matches).map_err(told)?;
    Ok(NAMES.into_iter().filter(|name| arguments.wears(name)).collect())
}

#[test]
fn what_is_named_wears() {
    let [shuttle, dibble, turntable] = NAMES;
    for (arguments, expected) in [
        (&[] as &[&str], NAMES.to_vec()),
        (&["--healthy"], vec![]),
        (&["--wear", dibble], vec![dibble]),
        (&["--wear", turntable, "--wear", shuttle], vec![shuttle, turntable]),
    ] {
        assert_eq!(wearing(arguments), Ok(expected), "{arguments:?}");
    }
    for arguments in [&["--wear", "spindle"] as &[&str], &["--wear"]] {
        let said = wearing(arguments).unwrap_err();
        assert!(NAMES.iter().all(|name| said.contains(name)), "{said}");
    }
    assert!(wearing(&["--wear", dibble, "--healthy"]).unwrap_err().contains("--healthy"));
}

#[test]
fn every_wear_is_a_machine_of_its_own() {
    let of = |healthy, wear: &[&str]| {
        let wear = wear.iter().map(|name| name.to_string()).collect();
        let arguments = Arguments { healthy, wear, ..Arguments::default() };
        (arguments.number(), arguments.name())
    };
    let [shuttle, dibble, turntable] = NAMES;
    let cases = [of(false, &[]), of(true, &[]), of(false, &[shuttle]), of(false, &[dibble, turntable])];
    for (at, one) in cases.iter().enumerate() {
        assert!(cases.iter().skip(at + 1).all(|other| other.0 != one.0 && other.1 != one.1), "{one:?}");
    }
    assert_eq!(cases[0].1, "rehearsal of 1 h, seed 1");
    assert_eq!(cases[3].1, "rehearsal of 1 h, seed 1, wear of dibble, gripper_turntable");
}
