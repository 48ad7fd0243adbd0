//! The command line: what can be typed in `args`, one file per command, and what they share.

mod args;
mod beats;
mod chart;
mod drill;
mod index;
mod line;
mod make;
mod manual;
mod many;
mod page;
mod pages;
mod progress;
mod score;
mod study;
mod summary;
mod take;
mod verify;

use std::io::{self, Write};
use std::process::ExitCode;

use anyhow::Error;
use clap::Parser;

use args::{Command, Line};

/// A command line that has been understood.
pub struct Typed(Command);

/// Reads the command line. Wrong usage and calls for help are answered here; the exit status is then in the error.
pub fn parse() -> Result<Typed, ExitCode> {
    match Line::try_parse().and_then(args::checked) {
        Ok(line) => Ok(Typed(line.command)),
        Err(error) => {
            // Nobody is left to tell when the terminal is gone.
            let _ = error.print();
            Err(if error.use_stderr() {
                ExitCode::from(2)
            } else {
                ExitCode::SUCCESS
            })
        }
    }
}

/// Does what was typed.
pub fn run(typed: Typed) -> Result<(), Error> {
    match typed.0 {
        Command::Study(args) => study::run(&args),
        Command::Verify(args) => verify::run(&args),
        Command::Chart(args) => chart::run(&args),
        Command::Drill(args) => drill::run(&args),
        Command::Take(args) => take::run(&args),
        Command::Manual(args) => manual::run(&args),
    }
}

/// Whether the reader of our output went away, which is no error: `overbar … | head`.
pub fn is_closed_pipe(error: &Error) -> bool {
    error
        .downcast_ref::<io::Error>()
        .is_some_and(|error| error.kind() == io::ErrorKind::BrokenPipe)
}

/// Prints one line that says what is wrong; the exit status of a refused input.
pub fn report(error: &Error) -> ExitCode {
    let _ = writeln!(io::stderr(), "error: {error}");
    ExitCode::FAILURE
}

/// Prints lines on standard output.
fn print(lines: &[String]) -> io::Result<()> {
    let mut out = io::stdout().lock();
    lines.iter().try_for_each(|line| writeln!(out, "{line}"))?;
    out.flush()
}
