//! An ELF file with the table of a log and the address of the rings, as cargo builds them.

use std::path::PathBuf;

use object::write::{Object, Symbol, SymbolSection};
use object::{Architecture, BinaryFormat, Endianness, SectionKind, SymbolFlags, SymbolKind, SymbolScope};

/// Index of the message in the table.
const INDEX: u16 = 7;

/// Writes the image; its log has one message, `started with {=u32} axes`.
pub(crate) fn write(name: &str, block: u64) -> PathBuf {
    let mut elf = Object::new(BinaryFormat::Elf, Architecture::Arm, Endianness::Little);
    let ram = elf.add_section(vec![], b".data".to_vec(), SectionKind::Data);
    let table = elf.add_section(vec![], b".defmt".to_vec(), SectionKind::Other);
    elf.append_section_data(ram, &[0; 64], 4);
    elf.append_section_data(table, &[0; 64], 1);
    let message = r#"{"package":"p","tag":"defmt_info","data":"started with {=u32} axes","disambiguator":"1","crate_name":"p"}"#;
    for (name, value, section) in [
        ("_SEGGER_RTT", block, SymbolSection::Section(ram)),
        ("_defmt_version_ = 4", 0, SymbolSection::Absolute),
        ("_defmt_encoding_ = rzcobs", 0, SymbolSection::Section(table)),
        (message, u64::from(INDEX), SymbolSection::Section(table)),
    ] {
        elf.add_symbol(Symbol {
            name: name.as_bytes().to_vec(),
            value,
            size: 1,
            kind: SymbolKind::Data,
            scope: SymbolScope::Linkage,
            weak: false,
            section,
            flags: SymbolFlags::None,
        });
    }
    let path = std::env::temp_dir().join(format!("stillpoint-{}-{name}.elf", std::process::id()));
    std::fs::write(&path, elf.write().expect("an ELF file")).expect("a scratch file");
    path
}

/// The message with a number below 2^24, in rzCOBS: the non-zero bytes of seven, a bit mask of the zeros, an end.
pub(crate) fn started(axes: u32) -> Vec<u8> {
    let plain = [INDEX.to_le_bytes().as_slice(), &axes.to_le_bytes(), &[0]].concat();
    let zeros = (0..).zip(&plain).map(|(bit, byte)| u8::from(*byte == 0) << bit).sum();
    let others = plain.iter().copied().filter(|byte| *byte != 0);
    others.chain([zeros, 0]).collect()
}
