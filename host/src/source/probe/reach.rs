//! In: the name of a chip. Out: a session with it through the one probe that is connected.

use probe_rs::config::{Registry, RegistryError};
use probe_rs::probe::list::{Accessibility, Lister};
use probe_rs::{Permissions, Session};

use super::place;
use crate::error::Error;
use crate::source::Ended;

/// How many chips of a like name are told.
const NEAR: usize = 5;

/// Attaches to a running chip, which is halted for an instant. Errors: the chip is not known; no probe, more than one, or none that may be opened;
/// the chip does not answer.
pub fn attach(lister: &Lister, chip: &str) -> Result<Session, Error> {
    known(chip)?;
    let ended = |ended: Ended| ended.at(&place(chip));
    let probe = only(lister).map_err(ended)?;
    probe.attach(chip, Permissions::default()).map_err(|error| {
        let wrong = format!("the chip does not answer: {}", whole(&error));
        ended(Ended::new(wrong, "check the power, the cable to the probe and the name of the chip"))
    })
}

/// An error with all its causes in one line.
pub(super) fn whole(error: &dyn std::error::Error) -> String {
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

fn known(chip: &str) -> Result<(), Error> {
    let registry = Registry::from_builtin_families();
    let (wrong, remedy) = match registry.get_target_by_name(chip) {
        Ok(_) => return Ok(()),
        Err(RegistryError::ChipNotUnique(_, several)) => {
            ("names more than one chip".to_owned(), format!("say which: {several}"))
        }
        Err(RegistryError::ChipNotFound(_)) => {
            let remedy = format!("names near it: {}", near(&registry, chip).join(", "));
            ("is no chip that is known".to_owned(), remedy)
        }
        Err(error) => (whole(&error), "name another chip".to_owned()),
    };
    Err(Error::Option { option: "SOURCE".to_owned(), value: place(chip), wrong, remedy })
}

/// The known names most like this one.
fn near(registry: &Registry, chip: &str) -> Vec<String> {
    let sought = chip.to_uppercase();
    let variants = registry.families().iter().flat_map(|family| &family.variants);
    let names = variants.flat_map(|variant| variant.package_variants());
    let mut likeness: Vec<(f64, &String)> =
        names.map(|name| (strsim::jaro_winkler(&name.to_uppercase(), &sought), name)).collect();
    likeness.sort_by(|a, b| b.0.total_cmp(&a.0).then_with(|| a.1.cmp(b.1)));
    likeness.dedup_by(|a, b| a.1 == b.1);
    likeness.into_iter().take(NEAR).map(|(_, name)| name.clone()).collect()
}

/// Opens the only probe.
fn only(lister: &Lister) -> Result<probe_rs::probe::Probe, Ended> {
    let found = lister.list_all_with_access();
    let names: Vec<String> = found.iter().map(|one| one.info.to_string()).collect();
    match found.as_slice() {
        [] => Err(Ended::new("no debug probe is connected", "connect the board's probe by USB")),
        [one] if one.accessibility == Accessibility::PermissionDenied => {
            let info = &one.info;
            let wrong = format!("the probe {info} may not be opened");
            let remedy = format!(
                "allow it with a udev rule for {:04x}:{:04x}, then plug it in again",
                info.vendor_id, info.product_id
            );
            Err(Ended::new(wrong, remedy))
        }
        [one] => lister.open(&one.info).map_err(|error| {
            let wrong = format!("the probe can't be opened: {}", whole(&error));
            Ended::new(wrong, "close other programs that use it and plug it in again")
        }),
        _ => {
            let wrong = format!("{} debug probes are connected: {}", names.len(), names.join("; "));
            Err(Ended::new(wrong, "unplug all but one"))
        }
    }
}
