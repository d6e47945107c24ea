//! In: a process that runs. Out: the most memory that it has had.

use std::process::Child;

/// Most memory that may be resident, whatever a peer does. Unit: kB
pub(crate) const MOST_MEMORY: u64 = 100_000;

/// Most memory that was resident so far; 0 where the system does not tell it. Unit: kB
pub(crate) fn most_resident(child: &Child) -> u64 {
    let status = std::fs::read_to_string(format!("/proc/{}/status", child.id())).unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    line.and_then(|line| line.trim().trim_end_matches(" kB").parse().ok()).unwrap_or(0)
}
