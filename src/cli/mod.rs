//! The command line's subcommands, one file each.

pub mod calc;
