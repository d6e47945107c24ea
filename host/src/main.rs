//! The `stillpoint` command.
#![forbid(unsafe_code)]

fn main() {}
