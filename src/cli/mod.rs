//! The command line's subcommands, one file each.

pub mod backup;
pub mod calc;
pub mod check;
pub mod demo;
pub mod invent;
pub mod learn;
pub mod returned;
pub mod serve;

use crate::cluster::StartFault;
use std::future::Future;
use std::process::ExitCode;

/// Runs an asynchronous subcommand; its fault is told in one sentence.
pub fn block_on(command: impl Future<Output = Result<(), StartFault>>) -> ExitCode {
    // At a stop the pool warns of connections the server has just closed; that is no news.
    let filter = tracing_subscriber::EnvFilter::try_from_env("RINSEBELL_LOG")
        .unwrap_or_else(|_| tracing_subscriber::EnvFilter::new("warn,sqlx_core::pool::connection=error"));
    let colours = std::io::IsTerminal::is_terminal(&std::io::stderr());
    // A log that nobody reads any more must not end what it tells of: by default the complaint would panic.
    tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_ansi(colours)
        .with_writer(std::io::stderr)
        .log_internal_errors(false)
        .init();
    let runtime = match tokio::runtime::Builder::new_multi_thread().enable_all().build() {
        Ok(runtime) => runtime,
        Err(error) => {
            eprintln!("rinsebell: The system gave no threads: {error}.");
            return ExitCode::FAILURE;
        }
    };
    let outcome = runtime.block_on(command);
    // Work that blocks (hashing) is not waited for.
    runtime.shutdown_background();
    match outcome {
        Ok(()) => ExitCode::SUCCESS,
        Err(fault) => {
            eprintln!("rinsebell: {fault}");
            ExitCode::from(fault.exit_code())
        }
    }
}
