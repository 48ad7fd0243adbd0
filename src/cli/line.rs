//! Flags that turn a study into one for another player: easier, on another kit, between two limbs.

use std::path::Path;

use anyhow::Error;
use clap::Args;

use crate::names::Limb;
use crate::stickings::Level;
use crate::study::{self, Moved, Study};

/// A line that suits the player.
#[derive(Debug, Args, Clone, Copy)]
#[command(next_help_heading = "A line that suits you")]
pub(super) struct LineFlags {
    /// The figure whole, of the solo only this: accents, one limb (RH, LH, RF, LF), or so many of the cells to learn first
    #[arg(long, value_name = "WHAT", value_parser = level)]
    easier: Option<Level>,

    /// On your kit: voices with have = false in kit.toml move to what is there
    #[arg(long)]
    my_kit: bool,
}

/// A study for one player, how its files end, and what he should know.
pub(super) struct Suited {
    pub(super) study: Study,
    pub(super) suffix: String,
    pub(super) mind: Vec<String>,
}

impl LineFlags {
    /// Whether anything is asked for.
    pub(super) fn is_plain(self) -> bool {
        self.easier.is_none() && !self.my_kit
    }

    /// The study as these flags want it; `folder` is where its kit file lies.
    pub(super) fn suit(self, study: Study, folder: &Path) -> Result<Suited, Error> {
        let mut suited = Suited {
            study,
            suffix: String::new(),
            mind: Vec::new(),
        };
        if let Some(level) = self.easier {
            let all = suited.study.strokes.len();
            suited.study = suited.study.easier(level);
            suited.suffix += &match level {
                Level::Accents => "-accents".to_owned(),
                Level::Limb(limb) => format!("-{limb}"),
                Level::Cells(count) => format!("-cells-{count}"),
            };
            let left = all - suited.study.strokes.len();
            suited.mind.push(format!("{left} of {all} strokes are left out"));
        }
        if self.my_kit {
            let (study, moved) = suited.study.on_kit(&study::read_body(folder)?);
            suited.study = study;
            suited.suffix += "-my-kit";
            suited.mind.extend(told(&moved));
        }
        Ok(suited)
    }
}

fn told(moved: &Moved) -> Vec<String> {
    let mut lines: Vec<String> = (moved.to.iter())
        .map(|((from, to), count)| format!("{count} of {} go to {}", from.said(), to.said()))
        .collect();
    let left = moved.left_out.iter();
    lines.extend(left.map(|(voice, count)| format!("{count} of {} have no place on your kit", voice.said())));
    if lines.is_empty() {
        lines.push(
            "your kit has every voice; write have = false under [reach.VOICE] in kit.toml for those it lacks"
                .to_owned(),
        );
    }
    lines
}

fn level(text: &str) -> Result<Level, String> {
    text.parse()
        .map_err(|error: crate::stickings::BadLevel| error.to_string())
}

/// Two limbs, such as RH,LF.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct LimbPair(pub(super) [Limb; 2]);

impl LimbPair {
    /// How files about them end.
    pub(super) fn suffix(self) -> String {
        let [a, b] = self.0;
        format!("-{a}-{b}")
    }
}

impl std::str::FromStr for LimbPair {
    type Err = String;

    fn from_str(text: &str) -> Result<LimbPair, String> {
        let bad = || format!("{text:?} is no pair of limbs; name two of RH, LH, RF, LF, such as RH,LF");
        let (a, b) = text.split_once(',').ok_or_else(bad)?;
        let limb = |text: &str| text.trim().to_uppercase().parse::<Limb>().map_err(|_| bad());
        let (a, b) = (limb(a)?, limb(b)?);
        if a == b { Err(bad()) } else { Ok(LimbPair([a, b])) }
    }
}
