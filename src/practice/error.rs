//! Why something cannot be practised from a study, in words that say what to do.

/// What stands in the way.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PracticeError {
    /// There are no beats to play to.
    #[error(
        "the study has no beats, so there is nothing to count in; make it again with --tempo and --downbeat"
    )]
    NoGrid,
    /// The study has no figure.
    #[error("the study has no figure that repeats, so its repeats cannot be chosen; use --bars")]
    NoFigure,
    /// The stretch asked for lies outside the study.
    #[error("{asked} lie outside the study, which has {known}; choose some of those")]
    Outside {
        /// What was asked for: `bars 30 to 34`.
        asked: String,
        /// What there is: `bars 1 to 21`.
        known: String,
    },
    /// A stretch longer than anyone loops.
    #[error("{asked} last {seconds} s at this speed, more than an hour; choose fewer bars")]
    TooLong {
        /// What was asked for.
        asked: String,
        /// Its length.
        seconds: u64,
    },
    /// A cell that cannot be read.
    #[error(
        "{given:?} is no cell; write R and L for hands, F for the foot, - for a rest, such as RLRRLL or RLF"
    )]
    BadCell {
        /// What was given.
        given: String,
    },
    /// The recording holds other sound than the study was made of.
    #[error("{file} ends before the stretch asked for; give the recording that the study was made of")]
    OtherRecording {
        /// The file.
        file: String,
    },
    /// The attempt shares too little with the study.
    #[error(
        "nothing in {file} follows the study for long enough to be measured; play at least two bars of it, or say which with --bars"
    )]
    NotFollowed {
        /// The file.
        file: String,
    },
}
