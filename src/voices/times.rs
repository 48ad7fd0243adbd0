//! [`Hit`]s -> the same, each at the time at which its own voice begins.
//!
//! Limbs that strike together do not meet: the strokes of one onset lie up to 30 ms apart, and each has its own place.
//! The finer network ([`Sharp`]) hears when a kick begins, when hats do.

use super::Hit;
use crate::listen::{Sharp, Sound};
use crate::names::{Mark, Voice};
use crate::units::Seconds;

/// How far from its onset a voice may begin: the width of an onset and what it may be off.
const REACH: Seconds = Seconds(0.045);

/// How much later than the sound the network hears it begin, in the median.
const LAG: Seconds = Seconds(0.001);

/// Gives each hit its own time; flams and drags keep theirs. The result is sorted by time.
pub(super) fn each(sharp: &Sharp, hits: &mut [Hit]) {
    for hit in hits.iter_mut() {
        let graced = matches!(hit.mark, Some(Mark::Flam | Mark::Drag));
        if let Some(time) = sharp
            .begins(sound(hit.voice), hit.time + LAG, REACH)
            .filter(|_| !graced)
        {
            hit.time = time - LAG;
        }
    }
    hits.sort_by(|a, b| a.time.0.total_cmp(&b.time.0).then(a.voice.cmp(&b.voice)));
}

/// What the networks listen for when this voice strikes.
pub(crate) fn sound(voice: Voice) -> Sound {
    match voice {
        Voice::Kick | Voice::KickLeft => Sound::Kick,
        Voice::Snare | Voice::Snare2 | Voice::CrossStick => Sound::Snare,
        Voice::TomHigh | Voice::TomMid | Voice::TomLow | Voice::TomFloor | Voice::TomFloor2 => Sound::Tom,
        Voice::HatClosed | Voice::HatOpen | Voice::HatFoot => Sound::Hat,
        Voice::Ride | Voice::RideBell | Voice::Crash | Voice::Crash2 | Voice::Splash | Voice::China => {
            Sound::Cymbal
        }
        Voice::Cowbell | Voice::Other => Sound::Any,
    }
}

#[cfg(test)]
mod tests {
    use rand::prelude::*;
    use rand_chacha::ChaCha8Rng;

    use super::*;
    use crate::audio::Recording;
    use crate::options::Options;
    use crate::practice::drums::{Character, Kit, Strike};
    use crate::{hits, listen, voices};

    #[test]
    fn limbs_that_do_not_meet_have_times_of_their_own() {
        let mut dice = ChaCha8Rng::seed_from_u64(7);
        let mut strikes = Vec::new();
        for beat in 0..40u32 {
            let time = 0.5 + 0.3 * f64::from(beat);
            let drum = [Voice::Kick, Voice::Snare, Voice::TomFloor][beat as usize % 3];
            for (voice, apart) in [(drum, 0.0), (Voice::HatClosed, dice.random_range(-0.022..0.022))] {
                strikes.push(Strike {
                    time: Seconds(time + apart),
                    voice,
                    velocity: dice.random_range(0.5..0.9),
                });
            }
        }
        let played = Kit::new(9, Character::PLAIN).render(&strikes, Seconds(13.0));
        let recording = Recording::from_channels(&played);
        let options = Options::default();
        let heard = listen::listen(&recording);
        let onsets = hits::find(&recording, &heard, &options.hits);
        let found = voices::name(&recording, &heard, &onsets, &options.voices);
        let mut off: Vec<f64> = Vec::new();
        for strike in &strikes {
            let own = found.iter().filter(|hit| sound(hit.voice) == sound(strike.voice));
            let near = own.map(|hit| (hit.time - strike.time).0.abs() * 1000.0);
            off.extend(near.min_by(f64::total_cmp).filter(|ms| *ms < 60.0));
        }
        off.sort_by(f64::total_cmp);
        assert!(off.len() >= 76, "{} of 80 strokes are found", off.len());
        // The onset's one time would be up to 22 ms wrong for one of the two.
        assert!(off[off.len() / 2] < 2.0, "{off:?}");
        assert!(off[off.len() * 9 / 10] < 5.0, "{off:?}");
    }
}
