//! Hands the memory map to the linker, for the bare-metal target only.

use std::path::PathBuf;

fn main() {
    println!("cargo:rerun-if-changed=memory.x");
    println!("cargo:rerun-if-changed=build.rs");
    if std::env::var("CARGO_CFG_TARGET_OS").as_deref() != Ok("none") {
        return;
    }
    let out = PathBuf::from(std::env::var_os("OUT_DIR").unwrap_or_default());
    if let Err(error) = std::fs::copy("memory.x", out.join("memory.x")) {
        println!("cargo:warning=memory.x: {error}");
    }
    println!("cargo:rustc-link-search={}", out.display());
    println!("cargo:rustc-link-arg-bins=-Tlink.x");
    println!("cargo:rustc-link-arg-bins=-Tdefmt.x");
    println!("cargo:rustc-link-arg-bins=--nmagic");
    // Keeps who calls what, so that a test can name every caller of a panic; costs no byte on the chip.
    println!("cargo:rustc-link-arg-bins=--emit-relocs");
}
