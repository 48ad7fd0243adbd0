//! Every colour, line weight and type size of the charts, in one place.
//!
//! Goal: a page for a music stand. Black on white carries everything; the two colours only repeat what shape and
//! weight already say. Both are from the set that stays apart for colour-blind readers [P: Okabe & Ito, Color
//! Universal Design, 2008]. Lengths are tenths of a millimetre on paper, so 40 is 4 mm: type of 11 points, read at
//! arm's length, and 16 pixels on a phone held sideways [=].

/// Strokes, bar lines and words.
pub(crate) const INK: &str = "#000000";
/// The page, and the inside of hollow strokes.
pub(crate) const PAPER: &str = "#ffffff";
/// Words of second rank. Contrast to white is 7:1 [=].
pub(crate) const QUIET: &str = "#595959";
/// Ruled lines under the strokes.
pub(crate) const RULE: &str = "#b3b3b3";
/// Beat lines and other guides that must stay behind.
pub(crate) const FAINT: &str = "#d9d9d9";
/// The figure that repeats.
pub(crate) const FIGURE: &str = "#0072b2";
/// Lines through the starts of the figure.
pub(crate) const FIGURE_LIGHT: &str = "#8fc1de";
/// The cells of the vocabulary, those first that open most; from the same set, light enough for letters upon them.
pub(crate) const CELLS: [&str; 6] = ["#8fc1de", "#f5c56b", "#8fd0b8", "#e2b3cd", "#f7ef9a", "#d9d9d9"];
/// What is unsure, missing or added.
pub(crate) const DOUBT: &str = "#d55e00";

/// The family list: plain sans faces that every system has one of.
pub(crate) const FACE: &str = "Helvetica, Arial, 'Liberation Sans', sans-serif";

/// The title.
pub(crate) const TITLE: i64 = 68;
/// Bar numbers.
pub(crate) const NUMBER: i64 = 52;
/// All other words.
pub(crate) const WORDS: i64 = 40;
/// Counts of beats, repeats and steps.
pub(crate) const COUNT: i64 = 34;
/// Syllables and letters under a staff.
pub(crate) const SMALL: i64 = 28;

/// Width of every page: 210 mm.
pub(crate) const WIDTH: i64 = 2100;
/// Height of A4: 297 mm.
pub(crate) const A4: i64 = 2970;
/// Margin on the left and right.
pub(crate) const MARGIN: i64 = 100;
/// Width and margin of a phone's column, and the most that a page of it holds: 40 are 15 pixels on a phone held upright [=].
pub(crate) const PHONE: (i64, i64, i64) = (1000, 40, 5000);
/// Below the heading of a page.
pub(crate) const TOP: i64 = 390;
/// Room for the legend at the foot of a page.
pub(crate) const FOOT: i64 = 250;

/// The largest and the smallest half-width of a stroke.
pub(crate) const STROKE: (i64, i64) = (19, 9);
/// Levels in dB under the loudest hit at which strokes reach these sizes; ghost notes lie 12 to 25 dB under
/// accents [M].
pub(crate) const LEVELS: (f64, f64) = (-3.0, -27.0);
/// Strokes less sure than this are marked with a question mark [M].
pub(crate) const SURE: f64 = 0.6;
