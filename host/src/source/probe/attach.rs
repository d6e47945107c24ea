//! In: the name of a chip. Out: a session with the chip through the only connected probe.

use probe_rs::config::{Registry, RegistryError};
use probe_rs::probe::list::{Accessibility, Lister};
use probe_rs::{Permissions, Session};

use super::place;
use crate::error::Error;
use crate::source::ConnectionError;

/// Number of similar chip names in a message.
const SIMILAR: usize = 5;

/// Attaches to a running chip, which is halted for an instant. Errors: the chip is unknown; there is no probe, more than
/// one, or the probe may not be opened; the chip does not answer.
pub fn attach(lister: &Lister, chip: &str) -> Result<Session, Error> {
    check_name(chip)?;
    let at_chip = |error: ConnectionError| error.at(&place(chip));
    let probe = open_only_probe(lister).map_err(at_chip)?;
    probe.attach(chip, Permissions::default()).map_err(|error| {
        let wrong = format!("the chip does not answer: {}", with_causes(&error));
        at_chip(ConnectionError::new(
            wrong,
            "check the power, the cable to the probe and the name of the chip",
        ))
    })
}

/// An error with all its causes in one line.
pub(super) fn with_causes(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut cause = error.source();
    while let Some(deeper) = cause {
        let words = deeper.to_string();
        if !text.contains(&words) {
            text = format!("{text}: {words}");
        }
        cause = deeper.source();
    }
    text
}

/// Whether the name is that of one chip.
fn check_name(chip: &str) -> Result<(), Error> {
    let registry = Registry::from_builtin_families();
    let (wrong, remedy) = match registry.get_target_by_name(chip) {
        Ok(_) => return Ok(()),
        Err(RegistryError::ChipNotUnique(_, several)) => {
            ("names more than one chip".to_owned(), format!("choose one of: {several}"))
        }
        Err(RegistryError::ChipNotFound(_)) => {
            let remedy = format!("similar names: {}", similar_names(&registry, chip).join(", "));
            ("is an unknown chip".to_owned(), remedy)
        }
        Err(error) => (with_causes(&error), "name another chip".to_owned()),
    };
    Err(Error::Option { option: "SOURCE".to_owned(), value: place(chip), wrong, remedy })
}

/// The known chip names most similar to this one.
fn similar_names(registry: &Registry, chip: &str) -> Vec<String> {
    let wanted = chip.to_uppercase();
    let variants = registry.families().iter().flat_map(|family| &family.variants);
    let names = variants.flat_map(|variant| variant.package_variants());
    let mut similarity: Vec<(f64, &String)> =
        names.map(|name| (strsim::jaro_winkler(&name.to_uppercase(), &wanted), name)).collect();
    similarity.sort_by(|a, b| b.0.total_cmp(&a.0).then_with(|| a.1.cmp(b.1)));
    similarity.dedup_by(|a, b| a.1 == b.1);
    similarity.into_iter().take(SIMILAR).map(|(_, name)| name.clone()).collect()
}

/// Opens the only connected probe.
fn open_only_probe(lister: &Lister) -> Result<probe_rs::probe::Probe, ConnectionError> {
    let found = lister.list_all_with_access();
    let names: Vec<String> = found.iter().map(|probe| probe.info.to_string()).collect();
    match found.as_slice() {
        [] => Err(ConnectionError::new("no debug probe is connected", "connect the board's probe by USB")),
        [probe] if probe.accessibility == Accessibility::PermissionDenied => {
            let info = &probe.info;
            let wrong = format!("the probe {info} may not be opened");
            let remedy = format!(
                "allow it with a udev rule for {:04x}:{:04x}, then plug it in again",
                info.vendor_id, info.product_id
            );
            Err(ConnectionError::new(wrong, remedy))
        }
        [probe] => lister.open(&probe.info).map_err(|error| {
            let wrong = format!("the probe can't be opened: {}", with_causes(&error));
            ConnectionError::new(wrong, "close other programs that use it and plug it in again")
        }),
        _ => {
            let wrong = format!("{} debug probes are connected: {}", names.len(), names.join("; "));
            Err(ConnectionError::new(wrong, "unplug all but one"))
        }
    }
}
