//! The `overbar` command.

fn main() {}
