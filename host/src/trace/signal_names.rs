//! In: the name of a column. Out: a score for time, command or feedback.

use crate::trace::layout::Signal;

/// Words of column names, and how certainly they mean the signal; 10 is certain.
const TIME: [(&str, u32); 15] = [
    ("time", 10),
    ("t", 10),
    ("zeit", 10),
    ("timestamp", 10),
    ("temps", 9),
    ("tiempo", 9),
    ("tempo", 9),
    ("tijd", 9),
    ("sec", 8),
    ("secs", 8),
    ("seconds", 8),
    ("zeitstempel", 8),
    ("uptime", 7),
    ("clock", 6),
    ("elapsed", 6),
];

const COMMAND: [(&str, u32); 24] = [
    ("command", 10),
    ("commanded", 10),
    ("cmd", 10),
    ("reference", 10),
    ("ref", 10),
    ("setpoint", 10),
    ("setpt", 10),
    ("demand", 10),
    ("demanded", 10),
    ("dem", 10),
    ("desired", 10),
    ("des", 10),
    ("target", 9),
    ("set", 9),
    ("sp", 9),
    ("sollwert", 10),
    ("sollposition", 10),
    ("solllage", 10),
    ("soll", 10),
    ("lagesollwert", 10),
    ("consigne", 10),
    ("consigna", 10),
    ("goal", 8),
    ("requested", 8),
];

const FEEDBACK: [(&str, u32); 26] = [
    ("feedback", 10),
    ("fb", 10),
    ("fbk", 10),
    ("actual", 10),
    ("act", 10),
    ("measured", 10),
    ("meas", 10),
    ("measurement", 10),
    ("istwert", 10),
    ("istposition", 10),
    ("istlage", 10),
    ("ist", 10),
    ("lageistwert", 10),
    ("mesure", 10),
    ("encoder", 8),
    ("enc", 8),
    ("sensor", 6),
    ("position", 4),
    ("pos", 4),
    ("lage", 4),
    ("weg", 3),
    ("angle", 3),
    ("winkel", 3),
    ("response", 3),
    ("displacement", 3),
    ("y", 1),
];

/// Words that confirm that a column holds a position.
const POSITION: [&str; 8] = ["position", "pos", "lage", "angle", "winkel", "weg", "displacement", "location"];

/// Words of signals other than positions; such a column is never chosen automatically.
const OTHER: [&str; 46] = [
    "speed",
    "velocity",
    "vel",
    "velo",
    "rpm",
    "current",
    "cur",
    "torque",
    "error",
    "err",
    "deviation",
    "dev",
    "diff",
    "difference",
    "acceleration",
    "acc",
    "accel",
    "jerk",
    "force",
    "temperature",
    "temp",
    "voltage",
    "volt",
    "power",
    "following",
    "lag",
    "window",
    "status",
    "state",
    "statusword",
    "controlword",
    "word",
    "bit",
    "reached",
    "limit",
    "gain",
    "drehzahl",
    "geschwindigkeit",
    "beschleunigung",
    "strom",
    "moment",
    "drehmoment",
    "fehler",
    "schleppfehler",
    "schleppabstand",
    "abweichung",
];

/// Lower-case words of a name, split at signs, digits and capitals (`actPos_1` is act, pos).
fn words(name: &str) -> Vec<String> {
    let mut words = vec![String::new()];
    let mut before = ' ';
    for letter in name.chars() {
        let cut = !letter.is_alphabetic() || letter.is_uppercase() && before.is_lowercase();
        if cut {
            words.push(String::new());
        }
        if let Some(word) = words.last_mut().filter(|_| letter.is_alphabetic()) {
            word.extend(letter.to_lowercase());
        }
        before = letter;
    }
    words.retain(|word| !word.is_empty());
    words
}

/// Score of a column for `signal`; 0: it does not fit. `name` is without its unit.
pub(crate) fn score(signal: Signal, name: &str, unit: Option<&str>) -> u32 {
    let words = words(name);
    let best = |table: &[(&str, u32)]| {
        let scores = words.iter().filter_map(|word| table.iter().find(|(known, _)| known == word));
        scores.map(|&(_, score)| score).max().unwrap_or(0)
    };
    let in_time = unit.is_some_and(|unit| crate::trace::unit::second_places(unit).is_some());
    // Each further word lowers the score: "time" is more likely the time than "cycle time".
    let plain = |score: u32| (4 * score).saturating_sub(words.len().saturating_sub(1) as u32);
    if signal == Signal::Time {
        return if words.is_empty() && in_time { 36 } else { plain(best(&TIME)) };
    }
    let rate = unit.is_some_and(|unit| unit.contains('/') || unit.contains('%'));
    if in_time || rate || words.iter().any(|word| OTHER.contains(&word.as_str())) {
        return 0;
    }
    let (command, feedback) = (best(&COMMAND), best(&FEEDBACK));
    let position = if words.iter().any(|word| POSITION.contains(&word.as_str())) { 8 } else { 0 };
    match signal {
        Signal::Command if command > 0 => plain(command) + position,
        Signal::Feedback if command == 0 && feedback > 0 => plain(feedback) + position,
        _ => 0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(header: &str, expected: [Option<&str>; 3]) {
        let found = Signal::ALL.map(|signal| {
            let scored = header.split(',').map(|cell| {
                let (name, unit) = crate::trace::unit::split(cell);
                (score(signal, &name, unit.as_deref()), cell)
            });
            let best = scored.clone().map(|(score, _)| score).max().unwrap_or(0);
            let mut tops = scored.filter(|&(score, _)| best > 0 && score == best).map(|(_, cell)| cell);
            tops.next().filter(|_| tops.next().is_none())
        });
        assert_eq!(found, expected, "{header:?}");
    }

    #[test]
    fn columns_are_found_by_their_names() {
        check("t_s,command,measured,output", [Some("t_s"), Some("command"), Some("measured")]);
        check("sample,t_s,cmd_counts,pos_counts", [Some("t_s"), Some("cmd_counts"), Some("pos_counts")]);
        check("t_s,command,feedback", [Some("t_s"), Some("command"), Some("feedback")]);
        check("Zeit [ms],Sollwert,Istwert,Strom", [Some("Zeit [ms]"), Some("Sollwert"), Some("Istwert")]);
        check(
            "Time,Position demand value,Position actual value,Velocity actual value,Following error actual value",
            [Some("Time"), Some("Position demand value"), Some("Position actual value")],
        );
        check("ms,TargetPos,ActPos,ActVel", [Some("ms"), Some("TargetPos"), Some("ActPos")]);
        check("time,set,pos,speed_set", [Some("time"), Some("set"), Some("pos")]);
        check("time,v_ref (mm/s),reference,y", [Some("time"), Some("reference"), Some("y")]);
        check("cycle time,time,ref,enc", [Some("time"), Some("ref"), Some("enc")]);
    }

    #[test]
    fn ambiguous_or_missing_columns_are_not_guessed() {
        check("time,X cmd,X act,Y cmd,Y act", [Some("time"), None, None]);
        check("a,b,c", [None, None, None]);
        check("time,following error,target reached", [Some("time"), None, None]);
    }
}
