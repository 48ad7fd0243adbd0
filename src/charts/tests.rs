//! What every chart must do, whatever the study.

use super::sample::{self, TEN_OVER_SIXTEEN};
use super::*;

/// Writes the pictures for looking at them.
#[test]
#[ignore = "writes pictures to look at"]
fn look() {
    let folder = std::path::PathBuf::from(std::env::var("LOOK").unwrap());
    let mut by_clock = sample::study(&TEN_OVER_SIXTEEN);
    by_clock.grid = crate::grid::Grid::none();
    by_clock.cycles.clear();
    by_clock.lengths.clear();
    for stroke in &mut by_clock.strokes {
        (stroke.step, stroke.place, stroke.late, stroke.layer) = (None, None, None, None);
    }
    let like = |length, steps_per_beat| {
        sample::study(&sample::Score {
            length,
            steps_per_beat,
            ..TEN_OVER_SIXTEEN
        })
    };
    let studies = [
        ("ten", like(10, 4)),
        ("five", like(5, 6)),
        ("none", like(0, 3)),
        ("fourteen", like(14, 4)),
        ("clock", by_clock),
    ];
    for (name, study) in studies {
        for chart in all(&study) {
            std::fs::write(folder.join(format!("{name}-{}.svg", chart.name)), chart.svg).unwrap();
        }
    }
}
