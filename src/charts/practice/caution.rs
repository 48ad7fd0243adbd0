//! What every practice sheet says about ears and hands.
//!
//! Hearing: [P: NIOSH 98-126]; how loud a kit runs [C]. Body: [P: Azar, Medical Problems of Performing Artists 35(3),
//! 2020].

use super::pattern::{LEADING, broken};
use crate::charts::palette::{COUNT, INK, MARGIN, WIDTH};
use crate::charts::svg::{Svg, Type};

/// The cautions, in the order in which they are printed.
pub(super) const CAUTIONS: [&str; 4] = [
    "Ears: 85 dBA is enough for 8 hours, and every 3 dB more halves the time: 100 dBA for 15 minutes (NIOSH 98-126). A kit runs at 90 to 110 dB. Wear protection.",
    "Body: of 831 players of the drum set 68 % had had a disorder from playing, the wrist first (Azar 2020). Warm up; rest 5 minutes in 25; raise the load gradually.",
    "Stop on pain, numbness or ringing ears.",
    "This is information, not medical advice: a teacher or a clinician decides.",
];

const LETTERS: usize = 104;
const LINE: i64 = LEADING - 8;

/// Height of the box.
pub(super) fn height() -> i64 {
    60 + LINE
        * CAUTIONS
            .iter()
            .map(|c| broken(c, LETTERS).len() as i64)
            .sum::<i64>()
}

/// Draws the box below `top`.
pub(super) fn draw(svg: &mut Svg, top: i64) {
    let height = height();
    svg.put(&format!(
        r#"<rect x="{MARGIN}" y="{top}" width="{}" height="{height}" fill="none" stroke="{INK}" stroke-width="4"/>"#,
        WIDTH - 2 * MARGIN
    ));
    let mut y = top + 54;
    for caution in CAUTIONS {
        for line in broken(caution, LETTERS) {
            svg.text(MARGIN + 26, y, Type::size(COUNT), &line);
            y += LINE;
        }
    }
}
