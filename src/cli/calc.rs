//! `rinsebell calc AREA`: standard input to standard output.

use crate::calc::{self, BadInput};
use std::io::{Read, Write};
use std::process::ExitCode;

/// Longest input read, bytes: far above any honest one.
const MOST_INPUT_BYTES: u64 = 64 << 20;

/// Computes standard input in `area`. Exit 0 with the answer on standard output, or exit 2 with
/// `{"error", "at"}` and nothing else on standard error.
pub fn main(area: &str) -> ExitCode {
    match read_input().and_then(|input| calc::run(area, &input)) {
        Ok(answer) => {
            let mut out = std::io::stdout().lock();
            match writeln!(out, "{answer}").and_then(|()| out.flush()) {
                Ok(()) => ExitCode::SUCCESS,
                Err(_) => ExitCode::FAILURE,
            }
        }
        Err(bad) => {
            let told = calc::answer(&bad).unwrap_or_default();
            // Standard error being gone leaves nobody to tell.
            let _ = writeln!(std::io::stderr(), "{told}");
            ExitCode::from(2)
        }
    }
}

fn read_input() -> Result<Vec<u8>, BadInput> {
    let mut input = Vec::new();
    let read = std::io::stdin().lock().take(MOST_INPUT_BYTES + 1).read_to_end(&mut input);
    let error = match read {
        Err(e) => e.to_string(),
        Ok(n) if n as u64 > MOST_INPUT_BYTES => format!("over {MOST_INPUT_BYTES} bytes"),
        Ok(_) => return Ok(input),
    };
    Err(BadInput { error, at: String::new() })
}
