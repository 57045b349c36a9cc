//! `rinsebell calc AREA`: standard input to standard output.

use crate::calc::{self, BadInput};
use clap::Args;
use std::io::{Read, Write};
use std::process::ExitCode;

/// Longest input read, bytes: above 10,000 strands with a hundred events each.
const MOST_INPUT_BYTES: u64 = 256 << 20;

/// Flags of `calc`. Its help is told from the schemas, so that fields and units are described once.
#[derive(Clone, Debug, Args)]
#[command(disable_help_flag = true)]
pub struct CalcArgs {
    /// One of the areas that --help lists.
    area: Option<String>,
    /// Print a document the area answers.
    #[arg(long, conflicts_with_all = ["schema", "help"])]
    example: bool,
    /// Print the area's JSON Schema, draft 2020-12.
    #[arg(long, conflicts_with = "help")]
    schema: bool,
    /// List the areas, or an area's fields with their units.
    #[arg(long, short)]
    help: bool,
}

/// Computes standard input in an area, or tells about it. Exit 0 with the answer on standard output, or exit 2 with
/// `{"error", "at"}` and nothing else on standard error.
pub fn main(args: &CalcArgs) -> ExitCode {
    match told(args) {
        Ok(answer) => {
            let mut out = std::io::stdout().lock();
            match out.write_all(answer.as_bytes()).and_then(|()| out.flush()) {
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

fn told(args: &CalcArgs) -> Result<String, BadInput> {
    if args.help {
        return calc::help(args.area.as_deref());
    }
    let unnamed = || BadInput {
        error: format!("name an area: {}", calc::areas().collect::<Vec<_>>().join(", ")),
        at: String::new(),
    };
    let area = args.area.as_deref().ok_or_else(unnamed)?;
    let mut text = if args.example {
        calc::example(area)?.to_owned()
    } else if args.schema {
        calc::schema(area)?
    } else {
        // An unknown area is told before anything is read.
        calc::example(area)?;
        calc::run(area, &read_input()?)?
    };
    text.push('\n');
    Ok(text)
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
