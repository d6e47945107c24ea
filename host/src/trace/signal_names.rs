//! In: the name of a column. Out: a score for time, command or feedback.

use crate::trace::layout::Signal;

/// Words of column names in several languages, and how certainly they mean the signal; 10 is certain. Accents are left out.
const TIME: [(&str, u32); 23] = [
    ("time", 10),
    ("t", 10),
    ("zeit", 10),
    ("uhrzeit", 10),
    ("timestamp", 10),
    ("temps", 9),
    ("tiempo", 9),
    ("tempo", 9),
    ("tijd", 9),
    ("sec", 8),
    ("secs", 8),
    ("seconds", 8),
    ("sekunden", 8),
    ("segundos", 8),
    ("secondi", 8),
    ("secondes", 8),
    ("zeitstempel", 8),
    ("horodatage", 8),
    ("hora", 6),
    ("heure", 6),
    ("uptime", 7),
    ("clock", 6),
    ("elapsed", 6),
];

const COMMAND: [(&str, u32); 49] = [
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
    ("goal", 8),
    ("requested", 8),
    // German
    ("sollwert", 10),
    ("solllage", 10),
    ("soll", 10),
    ("lagesollwert", 10),
    ("fuhrungsgrosse", 10),
    ("zielposition", 9),
    ("vorgabe", 8),
    // French
    ("consigne", 10),
    ("commande", 10),
    ("cible", 9),
    // Spanish and Portuguese
    ("consigna", 10),
    ("referencia", 10),
    ("comando", 10),
    ("objetivo", 9),
    ("objectivo", 9),
    ("alvo", 9),
    ("deseada", 9),
    ("deseado", 9),
    ("desejada", 9),
    ("desejado", 9),
    ("teorica", 8),
    ("teorico", 8),
    // Italian
    ("riferimento", 10),
    ("comandata", 10),
    ("comandato", 10),
    ("obiettivo", 9),
    ("desiderata", 9),
    ("desiderato", 9),
    ("richiesta", 9),
    ("richiesto", 9),
    ("impostata", 9),
    ("impostato", 9),
];

const FEEDBACK: [(&str, u32); 55] = [
    ("feedback", 10),
    ("fb", 10),
    ("fbk", 10),
    ("actual", 10),
    ("act", 10),
    ("measured", 10),
    ("meas", 10),
    ("measurement", 10),
    ("encoder", 8),
    ("enc", 8),
    ("sensor", 6),
    ("position", 4),
    ("pos", 4),
    ("angle", 3),
    ("response", 3),
    ("displacement", 3),
    ("y", 1),
    // German
    ("istwert", 10),
    ("istlage", 10),
    ("ist", 10),
    ("lageistwert", 10),
    ("messwert", 8),
    ("geber", 7),
    ("lage", 4),
    ("weg", 3),
    ("winkel", 3),
    // French
    ("mesure", 10),
    ("mesuree", 10),
    ("reelle", 10),
    ("reel", 10),
    ("retour", 8),
    ("codeur", 8),
    // Spanish and Portuguese
    ("real", 10),
    ("medida", 10),
    ("medido", 10),
    ("atual", 10),
    ("realimentacion", 10),
    ("retroalimentacion", 10),
    ("realimentacao", 10),
    ("codificador", 8),
    ("posicion", 4),
    ("posicao", 4),
    ("angulo", 3),
    ("desplazamiento", 3),
    ("deslocamento", 3),
    // Italian
    ("reale", 10),
    ("misurata", 10),
    ("misurato", 10),
    ("misura", 10),
    ("attuale", 10),
    ("effettiva", 10),
    ("effettivo", 10),
    ("retroazione", 10),
    ("posizione", 4),
    ("quota", 4),
];

/// Words that confirm that a column holds a position.
const POSITION: [&str; 18] = [
    "position",
    "pos",
    "lage",
    "angle",
    "winkel",
    "weg",
    "displacement",
    "location",
    "posicion",
    "posicao",
    "posizione",
    "quota",
    "angulo",
    "angolo",
    "desplazamiento",
    "deslocamento",
    "spostamento",
    "deplacement",
];

/// Words of an actual position beside a word of [`POSITION`], otherwise of an electric current.
const CURRENT: [&str; 4] = ["current", "corriente", "corrente", "courante"];

/// Words of signals other than positions; such a column is never chosen automatically.
const OTHER: [&str; 91] = [
    "speed",
    "velocity",
    "vel",
    "velo",
    "rpm",
    "current",
    "cur",
    "torque",
    "trq",
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
    "load",
    "effort",
    // German
    "drehzahl",
    "geschwindigkeit",
    "beschleunigung",
    "ruck",
    "strom",
    "spannung",
    "moment",
    "drehmoment",
    "kraft",
    "fehler",
    "schleppfehler",
    "schleppabstand",
    "abweichung",
    "regelabweichung",
    "regeldifferenz",
    // French
    "vitesse",
    "courant",
    "courante",
    "couple",
    "erreur",
    "ecart",
    "poursuite",
    "effort",
    "tension",
    // Spanish and Portuguese
    "velocidad",
    "velocidade",
    "corriente",
    "corrente",
    "par",
    "binario",
    "erro",
    "desvio",
    "desviacion",
    "seguimiento",
    "seguimento",
    "aceleracion",
    "aceleracao",
    "fuerza",
    "forca",
    "tensao",
    "estado",
    // Italian
    "velocita",
    "coppia",
    "errore",
    "scostamento",
    "scarto",
    "inseguimento",
    "accelerazione",
    "forza",
    "tensione",
    "stato",
    "temperatura",
];

/// Parts of Japanese and Chinese names, which have no spaces between words.
const EASTERN_TIME: [&str; 4] = ["時間", "时间", "時刻", "时刻"];
const EASTERN_COMMAND: [&str; 8] = ["指令", "目標", "目标", "给定", "設定", "设定", "命令", "期望"];
const EASTERN_FEEDBACK: [&str; 11] =
    ["反馈", "フィードバック", "実際", "实际", "実位置", "现在", "現在", "当前", "検出", "測定", "测量"];
const EASTERN_POSITION: [&str; 5] = ["位置", "角度", "変位", "位移", "座標"];
const EASTERN_OTHER: [&str; 25] = [
    "速",
    "電流",
    "电流",
    "トルク",
    "转矩",
    "轉矩",
    "扭矩",
    "力",
    "偏差",
    "误差",
    "誤差",
    "差",
    "電圧",
    "电压",
    "温度",
    "状態",
    "状态",
    "回転",
    "转速",
    "負荷",
    "负载",
    "指令単位",
    "到達",
    "到位",
    "周期",
];

/// Words of the following error.
const FOLLOWING: [&str; 11] = [
    "following",
    "lag",
    "schleppfehler",
    "schleppabstand",
    "regelabweichung",
    "lageregelabweichung",
    "poursuite",
    "seguimiento",
    "seguimento",
    "inseguimento",
    "suivi",
];

/// Words of the following error alone, or beside a word of [`POSITION`].
const ERROR: [&str; 10] =
    ["error", "err", "deviation", "dev", "erro", "errore", "erreur", "ecart", "abweichung", "desviacion"];

/// Words of what is no following error, though named after it.
const NO_ERROR: [&str; 18] = [
    "window",
    "time",
    "timeout",
    "limit",
    "max",
    "min",
    "peak",
    "status",
    "state",
    "bit",
    "reached",
    "code",
    "speed",
    "velocity",
    "velocidad",
    "vitesse",
    "id",
    "count",
];

const EASTERN_ERROR: [&str; 3] = ["偏差", "误差", "誤差"];
const EASTERN_FOLLOWING: [&str; 3] = ["跟随", "追従", "跟踪"];

/// Objects of a drive that hold positions, from the object dictionary of CiA 402; all others are no positions.
const OBJECTS: [(u32, Signal, u32); 5] = [
    (0x6062, Signal::Command, 10),  // position demand value
    (0x60FC, Signal::Command, 9),   // position demand internal value
    (0x607A, Signal::Command, 8),   // target position
    (0x6064, Signal::Feedback, 10), // position actual value
    (0x6063, Signal::Feedback, 9),  // position actual internal value
];

/// The first object of CiA 402, the last one, and the distance between the same objects of two axes.
const PROFILE: (u32, u32, u32) = (0x6000, 0x9FFF, 0x800);

/// The object in a name, for the first axis: `6064h`, `0x6064`, `6064:00`, `Position (0x6064.0)`.
fn object(name: &str) -> Option<u32> {
    let parts = name.split(|letter: char| !letter.is_ascii_alphanumeric()).filter(|part| !part.is_empty());
    let number = |part: &str| {
        let part = part.to_ascii_lowercase();
        let marked = part.starts_with("0x") || part.ends_with('h');
        let digits = part.strip_prefix("0x").unwrap_or(&part);
        let digits = digits.strip_suffix('h').unwrap_or(digits);
        let number = u32::from_str_radix(digits, 16).ok().filter(|_| digits.len() == 4)?;
        let (first, last, axis) = PROFILE;
        let number = Some(number).filter(|number| (first..=last).contains(number))?;
        // A bare number such as 6500 may mean anything, so it counts only with a sub-index.
        let plain = name.trim().starts_with(&part) && name.contains(':');
        (marked || plain).then_some(first + (number - first) % axis)
    };
    parts.filter_map(number).next()
}

/// Lower-case words of a name without accents, split at signs, digits and capitals (`actPos_1` is act, pos).
fn words(name: &str) -> Vec<String> {
    let mut words = vec![String::new()];
    let mut before = ' ';
    for letter in name.chars() {
        let cut = !letter.is_alphabetic() || letter.is_uppercase() && before.is_lowercase();
        if cut {
            words.push(String::new());
        }
        if let Some(word) = words.last_mut().filter(|_| letter.is_alphabetic()) {
            letter.to_lowercase().for_each(|letter| word.push_str(&plain(letter)));
        }
        before = letter;
    }
    words.retain(|word| !word.is_empty());
    words.into_iter().flat_map(parted).collect()
}

/// A letter without its accent.
fn plain(letter: char) -> String {
    let base = match letter {
        'á' | 'à' | 'â' | 'ã' | 'ä' | 'å' => 'a',
        'é' | 'è' | 'ê' | 'ë' => 'e',
        'í' | 'ì' | 'î' | 'ï' => 'i',
        'ó' | 'ò' | 'ô' | 'õ' | 'ö' => 'o',
        'ú' | 'ù' | 'û' | 'ü' => 'u',
        'ç' => 'c',
        'ñ' => 'n',
        'ß' => return "ss".to_string(),
        other => other,
    };
    base.to_string()
}

/// Splits a word such as `actpos` or `istposition` into two known ones.
fn parted(word: String) -> Vec<String> {
    let is_known = |part: &str| {
        let scored = [&TIME[..], &COMMAND, &FEEDBACK].into_iter().flatten().any(|(known, _)| *known == part);
        part.len() > 2 && (scored || POSITION.contains(&part) || OTHER.contains(&part))
    };
    let cuts = if is_known(&word) { 0..0 } else { 0..word.len() };
    let split = cuts.filter(|&at| word.is_char_boundary(at)).map(|at| word.split_at(at));
    match split.into_iter().find(|(first, second)| is_known(first) && is_known(second)) {
        Some((first, second)) => vec![first.to_string(), second.to_string()],
        None => vec![word],
    }
}

/// What the words of a name say.
struct Meaning {
    words: usize,
    time: u32,
    command: u32,
    feedback: u32,
    is_position: bool,
    is_other: bool,
}

impl Meaning {
    fn of(name: &str) -> Meaning {
        let words = words(name);
        let best = |table: &[(&str, u32)]| {
            let scores = words.iter().filter_map(|word| table.iter().find(|(known, _)| known == word));
            scores.map(|&(_, score)| score).max().unwrap_or(0)
        };
        let among = |list: &[&str]| words.iter().any(|word| list.contains(&word.as_str()));
        let part = |parts: &[&str]| if parts.iter().any(|part| name.contains(part)) { 10 } else { 0 };
        let is_position = among(&POSITION) || part(&EASTERN_POSITION) > 0;
        // "Current position" is an actual position; "current" alone is electric.
        let current = is_position && among(&CURRENT);
        let other =
            |word: &String| OTHER.contains(&word.as_str()) && !(current && CURRENT.contains(&word.as_str()));
        // "Real time" is a time; a single "t" may be anything.
        let time = |word: &String| word.len() > 1 && TIME.iter().any(|(known, _)| known == word);
        let mut feedback = best(&FEEDBACK).max(part(&EASTERN_FEEDBACK)).max(if current { 8 } else { 0 });
        if part(&EASTERN_POSITION) > 0 {
            feedback = feedback.max(4);
        }
        Meaning {
            words: words.len(),
            time: best(&TIME).max(part(&EASTERN_TIME)),
            command: best(&COMMAND).max(part(&EASTERN_COMMAND)),
            feedback,
            is_position,
            is_other: words.iter().any(other) || words.iter().any(time) || part(&EASTERN_OTHER) > 0,
        }
    }
}

/// Whether a column is the following error. `name` is without its unit.
pub(crate) fn is_following_error(name: &str, unit: Option<&str>) -> bool {
    let meaning = Meaning::of(name);
    let words = words(name);
    let among = |list: &[&str]| words.iter().any(|word| list.contains(&word.as_str()));
    let eastern = |parts: &[&str]| parts.iter().any(|part| name.contains(part));
    let is_length = !unit.is_some_and(|unit| {
        unit.contains(['/', '%']) || unit == "A" || crate::trace::unit::second_places(unit).is_some()
    });
    let is_error = among(&FOLLOWING)
        || among(&ERROR) && (meaning.is_position || words.len() == 1)
        || eastern(&EASTERN_ERROR) && (meaning.is_position || eastern(&EASTERN_FOLLOWING));
    is_length && (object(name) == Some(0x60F4) || is_error && object(name).is_none() && !among(&NO_ERROR))
}

/// Words that mean the number of a product, the likeliest first.
const JOB: [&str; 4] = ["job", "product", "recipe", "batch"];

/// Words that may stand beside them.
const NUMBER: [&str; 6] = ["id", "no", "nr", "num", "number", "code"];

/// How unlikely a column is the number of a product, 0 the least; `None` if its name does not mean one.
pub(crate) fn job_rank(name: &str) -> Option<usize> {
    let words = words(name);
    let place = |word: &String| JOB.iter().position(|known| known == word);
    let is_known = |word: &String| place(word).is_some() || NUMBER.contains(&word.as_str());
    words.iter().all(is_known).then(|| words.iter().filter_map(place).min()).flatten()
}

/// Score of a column for `signal`; 0: it does not fit. `name` is without its unit.
pub(crate) fn score(signal: Signal, name: &str, unit: Option<&str>) -> u32 {
    let meaning = Meaning::of(name);
    let in_time = unit.is_some_and(|unit| crate::trace::unit::second_places(unit).is_some());
    // Each further word lowers the score: "time" is more likely the time than "cycle time".
    let plain = |score: u32| (4 * score).saturating_sub(meaning.words.saturating_sub(1) as u32);
    if signal == Signal::Time {
        return if meaning.words == 0 && in_time { 36 } else { plain(meaning.time) };
    }
    let rate = unit.is_some_and(|unit| unit.contains('/') || unit.contains('%') || unit == "A");
    if in_time || rate || meaning.is_other {
        return 0;
    }
    if let Some(object) = object(name) {
        let known = OBJECTS.iter().find(|known| known.0 == object && known.1 == signal);
        return known.map_or(0, |known| 4 * known.2 + 8);
    }
    let position = if meaning.is_position { 8 } else { 0 };
    match signal {
        Signal::Command if meaning.command > 0 => plain(meaning.command) + position,
        Signal::Feedback if meaning.command == 0 && meaning.feedback > 0 => {
            plain(meaning.feedback) + position
        }
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

    /// Column names of a following error, in the languages that are known.
    const FOLLOWING_ERRORS: [&str; 16] = [
        "following error",
        "FollowingError",
        "pos_err",
        "lag",
        "Schleppfehler",
        "Regelabweichung",
        "0x60F4",
        "erro de posição",
        "error de seguimiento",
        "errore di inseguimento",
        "écart de position",
        "位置偏差",
        "跟随误差",
        "position deviation",
        "PositionError",
        "60F4h:00",
    ];

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
    fn names_of_other_languages_are_known() {
        for [time, command, feedback] in [
            ["Tempo", "Posição de referência", "Posição real"],
            ["Tempo", "Comando", "Posição atual"],
            ["Tempo [ms]", "posicao desejada [mm]", "posicao medida [mm]"],
            ["Tiempo", "Consigna de posición", "Posición real"],
            ["Tiempo", "Referencia", "Posición actual"],
            ["Tempo", "Posizione comandata", "Posizione reale"],
            ["Tempo", "Quota richiesta", "Quota effettiva"],
            ["Tempo", "Riferimento", "Retroazione"],
            ["Temps", "Consigne de position", "Position mesurée"],
            ["Zeit", "Zielposition", "Istposition"],
            ["時間", "位置指令", "現在位置"],
            ["時刻[ms]", "目標位置[mm]", "フィードバック位置[mm]"],
            ["时间", "给定位置", "实际位置"],
            ["时间(s)", "位置指令", "反馈位置"],
            ["Time", "6062h", "6064h"],
            ["Time", "0x607A", "0x6064"],
            ["Time", "0x60FC:00", "6063:00"],
            ["t", "6862h", "6864h"],
            ["t", "Position demand value 6062:00 [inc]", "Position actual value 6064:00 [inc]"],
            ["t", "Target Position", "Current Position"],
            ["t", "cmdpos", "actpos"],
            ["t", "SETPOS", "ACTPOS"],
        ] {
            let others = "Velocidad real,velocità comandata,Corrente,位置偏差,速度指令,606Ch,0x60F4,Strom";
            check(
                &format!("{time},{command},{feedback},{others}"),
                [Some(time), Some(command), Some(feedback)],
            );
        }
        check("t,6062h,607Ah,6063h,6064h", [Some("t"), Some("6062h"), Some("6064h")]);
    }

    #[test]
    fn a_following_error_is_recognised() {
        for name in FOLLOWING_ERRORS.into_iter().chain(["error", "Following error actual value"]) {
            assert!(is_following_error(name, None), "{name}");
        }
        for name in [
            "position",
            "following error window",
            "error code",
            "speed error",
            "velocity deviation",
            "0x6065",
            "6064h",
            "time",
            "command",
            "速度偏差",
        ] {
            assert!(!is_following_error(name, None), "{name}");
        }
        assert!(!is_following_error("following error", Some("%")));
    }

    #[test]
    fn ambiguous_or_missing_columns_are_not_guessed() {
        check("time,X cmd,X act,Y cmd,Y act", [Some("time"), None, None]);
        check("a,b,c", [None, None, None]);
        check("time,following error,target reached", [Some("time"), None, None]);
        check("time,target velocity,actual torque,target torque,actual current", [Some("time"), None, None]);
        check("Time,60FFh,606Ch,6071h,6077:00,0x60F4,0x6078", [Some("Time"), None, None]);
        check("t,6064,6062", [Some("t"), None, None]);
        for lag in FOLLOWING_ERRORS {
            for signal in Signal::ALL {
                assert_eq!(score(signal, lag, None), 0, "{lag} for {signal}");
            }
        }
    }
}
