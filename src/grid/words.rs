//! The grid in a player's words: "sixteenths, 4/4, about 116 bpm".

use super::{Grid, Meter};

/// What players call `steps` steps in a beat of `meter`. In 6/8, 9/8 and 12/8 the beat is a dotted quarter, in
/// other meters over eight an eighth, else a quarter (common practice, no source).
pub fn subdivision(meter: Meter, steps: u32) -> String {
    let compound = meter.beats_per_bar() != meter.count;
    let name = match (compound, meter.unit, steps) {
        (true, _, 1) => "dotted quarters",
        (true, _, 3) => "eighths",
        (true, _, 6) => "sixteenths",
        (true, _, 12) => "thirty-seconds",
        (false, 8, 1) => "eighths",
        (false, 8, 2) => "sixteenths",
        (false, 8, 3) => "sixteenth-triplets",
        (false, 8, 4) => "thirty-seconds",
        (false, 4, 1) => "quarters",
        (false, 4, 2) => "eighths",
        (false, 4, 3) => "eighth-triplets",
        (false, 4, 4) => "sixteenths",
        (false, 4, 5) => "quintuplets",
        (false, 4, 6) => "sixteenth-triplets",
        (false, 4, 7) => "septuplets",
        (false, 4, 8) => "thirty-seconds",
        (false, 4, 12) => "thirty-second-triplets",
        _ => return format!("{steps} steps a beat"),
    };
    name.to_owned()
}

impl Grid {
    /// The grid statement of a chart or a summary.
    pub fn statement(&self) -> String {
        if self.beats.len() < 2 {
            return "no grid".to_owned();
        }
        format!(
            "{}, {}, about {:.0} bpm",
            subdivision(self.meter, self.steps_per_beat),
            self.meter,
            self.tempo.0
        )
    }

    /// The slowest and the fastest tempo, each held over a whole bar; `None` for less than a bar.
    pub fn tempo_range(&self) -> Option<(f64, f64)> {
        let bar = self.meter.beats_per_bar().max(1) as usize;
        let tempi = self
            .beats
            .windows(bar + 1)
            .map(|w| 60.0 * bar as f64 / (w[bar] - w[0]).0);
        tempi.fold(None, |range: Option<(f64, f64)>, t| {
            Some(range.map_or((t, t), |(low, high)| (low.min(t), high.max(t))))
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_beat_of_six_eighths_is_a_dotted_quarter() {
        assert_eq!(subdivision(Meter { count: 6, unit: 8 }, 3), "eighths");
        assert_eq!(subdivision(Meter { count: 7, unit: 8 }, 2), "sixteenths");
        assert_eq!(subdivision(Meter { count: 5, unit: 4 }, 6), "sixteenth-triplets");
        assert_eq!(subdivision(Meter { count: 4, unit: 4 }, 9), "9 steps a beat");
    }

    #[test]
    fn a_grid_without_beats_says_so() {
        assert_eq!(Grid::none().statement(), "no grid");
        assert_eq!(Grid::none().tempo_range(), None);
    }
}
