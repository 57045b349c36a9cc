//! The `rinsebell` program.

use std::process::ExitCode;

fn main() -> ExitCode {
    let mut args = std::env::args().skip(1);
    match (args.next().as_deref(), args.next()) {
        (Some("calc"), Some(area)) => rinsebell::cli::calc::main(&area),
        _ => {
            eprintln!("usage: rinsebell calc AREA");
            ExitCode::from(2)
        }
    }
}
