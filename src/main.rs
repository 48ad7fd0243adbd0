//! The `overbar` command: parse, run, print the error, say how it ended.

use std::process::ExitCode;

use overbar::cli;

fn main() -> ExitCode {
    let command = match cli::parse() {
        Ok(command) => command,
        Err(usage) => return usage,
    };
    match cli::run(command) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) if cli::is_closed_pipe(&error) => ExitCode::SUCCESS,
        Err(error) => cli::report(&error),
    }
}
