//! What every chart must do, whatever the study.

use super::sample::{self, TEN_OVER_SIXTEEN};
use super::*;

/// Writes the pictures for looking at them.
#[test]
#[ignore = "writes pictures to look at"]
fn look() {
    let folder = std::path::PathBuf::from(std::env::var("LOOK").unwrap());
    for chart in all(&sample::study(&TEN_OVER_SIXTEEN)) {
        std::fs::write(folder.join(format!("{}.svg", chart.name)), chart.svg).unwrap();
    }
}
