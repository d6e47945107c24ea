//! In: what the moves show of an axis. Out: the same for people, and as one JSON object.

use std::io;

use serde_json::{Map, Value};

use super::json;
use super::printable::printable;
use crate::analysis::identify::{Estimate, Identified, Refusal};

/// Units of the result.
pub struct Units {
    /// Of position.
    pub position: String,
    /// Of effort, if it is known.
    pub effort: Option<String>,
    /// Mass or inertia of the motor alone.
    pub rotor: Option<f64>,
}

/// Name for people, name in JSON, power of the second in its unit, and the result.
fn rows(result: &Identified) -> [(&'static str, &'static str, u8, Result<Estimate, Refusal>); 4] {
    [
        ("mass or inertia", "mass", 2, result.mass),
        ("viscous friction", "viscous", 1, result.viscous),
        ("Coulomb friction", "coulomb", 0, result.coulomb),
        ("constant effort", "offset", 0, result.offset),
    ]
}

/// The contract of DEVELOPERS.md: null where refused.
pub fn json(result: &Identified) -> io::Result<String> {
    let (mut object, mut refused) = (Map::new(), Map::new());
    for (_, name, _, estimate) in rows(result) {
        let number = |of: fn(Estimate) -> f64| estimate.ok().map_or(Value::Null, |known| of(known).into());
        object.insert(name.to_owned(), number(|known| known.value));
        object.insert(format!("{name}_u"), number(|known| known.u));
        if let Err(refusal) = estimate {
            refused.insert(name.to_owned(), reason(refusal).into());
        }
    }
    object.insert("samples".to_owned(), result.samples.into());
    object.insert("refused".to_owned(), refused.into());
    let both = result.friction_and_offset;
    object.insert("friction_and_offset".to_owned(), both.map_or(Value::Null, |both| both.value.into()));
    object.insert("friction_and_offset_u".to_owned(), both.map_or(Value::Null, |both| both.u.into()));
    object.insert("cut_off_hz".to_owned(), result.cut_off_hz.into());
    json::line(&object)
}

/// One line for each parameter with ± of 95 %, and what to be careful about.
pub fn table(result: &Identified, units: &Units) -> String {
    let effort = units.effort.clone().unwrap_or_else(|| "effort".to_owned());
    let unit = |power: u8| match power {
        0 => effort.clone(),
        1 => format!("{effort}/({}/s)", units.position),
        _ => format!("{effort}/({}/s²)", units.position),
    };
    let mut text = String::new();
    for (name, _, power, estimate) in rows(result) {
        let value = match estimate {
            Ok(known) => format!("{} {}", with_uncertainty(known), unit(power)),
            Err(refusal) => format!("not stated: {}", reason(refusal)),
        };
        text.push_str(&format!("{name:<17} {value}\n"));
    }
    if let Some(both) = result.friction_and_offset {
        let value = with_uncertainty(both);
        text.push_str(&format!("Coulomb friction and constant effort together: {value} {effort}\n"));
    }
    if let (Some(rotor), Ok(mass)) = (units.rotor, result.mass) {
        if rotor > mass.value {
            text.push_str("load / motor      not stated: the motor is heavier than the whole; check the unit of --rotor\n");
            return closing(text, result);
        }
        let ratio = (mass.value - rotor) / rotor;
        text.push_str(&format!("load / motor      {ratio:.2} ± {:.2}\n", 2.0 * mass.u / rotor));
    }
    closing(text, result)
}

fn closing(mut text: String, result: &Identified) -> String {
    text.push_str(&format!(
        "{} rows with motion, compared below {:.0} Hz; ± is 95 %. No mass is better than ± 2 %: belts and the shape of\n\
         friction are not in the model.\n",
        result.samples, result.cut_off_hz
    ));
    text.lines().map(|line| printable(line) + "\n").collect()
}

/// The value with as many digits as its 95 % uncertainty has meaning, two of it.
fn with_uncertainty(known: Estimate) -> String {
    let expanded = 2.0 * known.u;
    let digits = if expanded > 0.0 { (1.0 - expanded.log10().floor()).clamp(0.0, 12.0) as usize } else { 6 };
    format!("{:.digits$} ± {expanded:.digits$}", known.value)
}

fn reason(refusal: Refusal) -> String {
    match refusal {
        Refusal::OneDirection => {
            "all motion goes in one direction, so friction and constant effort are one; record moves both ways"
                .to_owned()
        }
        Refusal::Alike { inflation } if inflation.is_finite() => format!(
            "these moves show it only together with the others (variance inflation {inflation:.0}, at most 12); vary \
             speed, distance and direction"
        ),
        Refusal::Alike { .. } => "these moves show it only together with the others; vary speed, distance and direction".to_owned(),
        Refusal::Uncertain { share } if share < 1.0 => {
            format!("± {:.0} % is more than ± 10 %; record more and faster moves", 100.0 * share)
        }
        Refusal::Uncertain { .. } => "it is not shown to differ from 0; record more and faster moves".to_owned(),
        Refusal::Negative => {
            "effort and motion contradict each other; if the effort counts the other way, give --effort-scale -1"
                .to_owned()
        }
        Refusal::Still => "position or effort never changes; check the columns".to_owned(),
        Refusal::TooFew => "too few rows with motion and acceleration; record at least ten moves".to_owned(),
    }
}
