//! Images of real boards: they fit their byte budgets, and no panic is linked into them but those that are known.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use object::read::elf::{ElfFile32, ProgramHeader};
use object::{Object, ObjectSection, ObjectSymbol, RelocationTarget, SectionKind, elf};
use serde::Deserialize;
use stillpoint_tests::emulator::built as find;

/// A board's `size.toml`.
#[derive(Deserialize)]
struct Budget {
    image: String,
    profile: String,
    flash_bytes: u64,
    ram_bytes: u64,
    /// Function, and why its panic never comes.
    known_panics: BTreeMap<String, String>,
}

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// Every budget with its image; an image that is not built is skipped.
fn built() -> Vec<(Budget, Vec<u8>)> {
    let boards = fs::read_dir(root().join("firmware/boards")).expect("boards");
    let files = boards.map(|board| board.expect("a board").path().join("size.toml"));
    let budgets: Vec<Budget> = files
        .filter_map(|file| fs::read_to_string(file).ok())
        .map(|text| toml::from_str(&text).expect("a budget"))
        .collect();
    assert!(!budgets.is_empty(), "a board has a budget");
    let found = budgets.into_iter().filter_map(|budget| {
        let bytes = fs::read(find(&budget.profile, &budget.image)?).expect("an image is readable");
        Some((budget, bytes))
    });
    found.collect()
}

/// Bytes on flash and bytes of variables. What is written to the chip has a load address; variables are writable.
fn sizes(elf: &ElfFile32) -> (u64, u64) {
    let flash = elf.elf_program_headers().iter().filter(|part| part.p_type(elf.endian()) == elf::PT_LOAD);
    let flash = flash.map(|part| u64::from(part.p_filesz(elf.endian()))).sum();
    let variables = [SectionKind::Data, SectionKind::UninitializedData];
    let ram = elf.sections().filter(|section| section.address() != 0 && variables.contains(&section.kind()));
    (flash, ram.map(|section| section.size()).sum())
}

#[test]
fn images_fit_their_budgets() {
    for (budget, bytes) in built() {
        let elf = ElfFile32::parse(&*bytes).expect("an image");
        let (flash, ram) = sizes(&elf);
        println!(
            "ran {}: flash {flash} of {}, RAM {ram} of {}",
            budget.image, budget.flash_bytes, budget.ram_bytes
        );
        assert!(flash > 1000 && ram > 1000, "{}: sections are found", budget.image);
        assert!(flash <= budget.flash_bytes, "{}: {flash} bytes of flash", budget.image);
        assert!(ram <= budget.ram_bytes, "{}: {ram} bytes of RAM", budget.image);
    }
}

/// Without the brackets, which compilers set differently.
fn plain(name: &str) -> String {
    format!("{:#}", rustc_demangle::demangle(name)).replace(['<', '>'], "")
}

/// Every panic ends in this module, so a function that may panic calls it, directly or through another function.
fn is_panic(name: &str) -> bool {
    plain(name).contains("core::panicking::")
}

/// Functions from which a panic is reached directly, by the relocations in the image.
fn callers(elf: &ElfFile32) -> BTreeSet<String> {
    let functions: BTreeMap<u64, (u64, String)> = elf
        .symbols()
        .filter(|symbol| symbol.size() > 0 && symbol.kind() == object::SymbolKind::Text)
        // The lowest bit of an address says Thumb.
        .map(|symbol| (symbol.address() & !1, (symbol.size(), plain(symbol.name().unwrap_or("?")))))
        .collect();
    let mut callers = BTreeSet::new();
    let code = elf.sections().filter(|section| section.kind() == SectionKind::Text);
    let relocations: Vec<_> = code.flat_map(|section| section.relocations()).collect();
    assert!(relocations.len() > 100, "the image has its relocations");
    for (at, relocation) in relocations {
        let RelocationTarget::Symbol(target) = relocation.target() else { continue };
        let Ok(target) = elf.symbol_by_index(target) else { continue };
        if !target.name().is_ok_and(is_panic) {
            continue;
        }
        let before = functions.range(..=at).next_back();
        let caller = before.filter(|(from, (size, _))| at < *from + size).map(|(_, (_, name))| name.clone());
        callers.insert(caller.unwrap_or_else(|| format!("{at:#x}")));
    }
    callers.retain(|caller| !caller.contains("core::panicking::"));
    callers
}

#[test]
fn no_panic_is_linked_but_the_known_ones() {
    for (budget, bytes) in built() {
        let elf = ElfFile32::parse(&*bytes).expect("an image");
        let linked = elf.symbols().any(|symbol| symbol.name().is_ok_and(is_panic));
        let callers = callers(&elf);
        let known: BTreeSet<String> = budget.known_panics.keys().cloned().collect();
        println!("ran {}: panics in {callers:#?}", budget.image);
        assert!(linked || callers.is_empty());
        assert!(!linked || !callers.is_empty(), "{}: a panic is linked, but no caller found", budget.image);
        assert_eq!(callers, known, "{}: functions that may panic, and those in size.toml", budget.image);
    }
}

#[test]
fn names_of_panics_are_recognised() {
    for (name, panics) in [
        ("_ZN4core9panicking9panic_fmt17h0123456789abcdefE", true),
        ("_ZN4core9panicking11panic_const23panic_const_div_by_zero17h0123456789abcdefE", true),
        ("_RNvNtCs1234_4core9panicking18panic_bounds_check", true),
        ("_ZN15stillpoint_core6sample7Sampler4step17h0123456789abcdefE", false),
        ("panicking", false),
    ] {
        assert_eq!(is_panic(name), panics, "{name}");
    }
}
