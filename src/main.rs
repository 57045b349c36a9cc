//! The `rinsebell` program: reads the command line and hands on.

use rinsebell::cli;
use rinsebell::config::{self, CheckWhat, Command, DemoAct};
use std::process::ExitCode;

fn main() -> ExitCode {
    match config::parse().command {
        Command::Serve(args) => cli::block_on(cli::serve::main(&args)),
        Command::Learn(args) => cli::learn::main(&args),
        Command::Invent(args) => cli::block_on(cli::invent::main(&args)),
        Command::Returned(place) => cli::block_on(cli::returned::main(&place)),
        Command::Check { what: Some(CheckWhat::Protocols { dir }), .. } => {
            cli::check::protocols(dir.as_deref())
        }
        Command::Check { what: None, place } => cli::block_on(cli::check::main(&place)),
        Command::Demo { act: DemoAct::Refresh(place) } => cli::block_on(cli::demo::refresh(&place)),
        Command::Backup { file, place } => cli::block_on(cli::backup::backup(&file, &place)),
        Command::Restore { file, replace, place } => {
            cli::block_on(cli::backup::restore(&file, replace, &place))
        }
        Command::Calc(args) => cli::calc::main(&args),
    }
}
