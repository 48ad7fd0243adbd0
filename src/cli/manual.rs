//! `overbar manual`: manual pages and completions, out of the same definitions as the help.

use std::fs;

use anyhow::Error;
use clap::CommandFactory;
use clap_complete::Shell;

use super::args::{Line, ManualArgs};
use super::print;
use crate::files::shown;

/// The shells that completions are written for.
const SHELLS: [Shell; 4] = [Shell::Bash, Shell::Zsh, Shell::Fish, Shell::PowerShell];

pub(super) fn run(args: &ManualArgs) -> Result<(), Error> {
    fs::create_dir_all(&args.folder)?;
    let mut line = Line::command();
    for shell in SHELLS {
        let path = clap_complete::generate_to(shell, &mut line, "overbar", &args.folder)?;
        print(&[shown(&path)])?;
    }
    clap_mangen::generate_to(Line::command(), &args.folder)?;
    let pages = line.get_subcommands().filter(|command| !command.is_hide_set());
    let pages = pages.map(|command| format!("overbar-{}.1", command.get_name()));
    for page in ["overbar.1".to_owned()].into_iter().chain(pages) {
        print(&[shown(&args.folder.join(page))])?;
    }
    Ok(())
}
