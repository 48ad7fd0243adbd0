//! How each group of strokes sounds: the pitch of its body, its brightness, how long it rings, where it stands.
//!
//! In: a [`Recording`] and the hits found in it. Out: one [`Group`] for every voice that strikes. What is measured is
//! what a stroke adds to what rang before, on the strokes that stand freest, and of those the median: one stroke that
//! something else covers changes nothing.

use serde::{Deserialize, Serialize};

use super::Hit;
use super::features;
use crate::audio::{RATE, Recording};
use crate::hits::Onset;
use crate::names::Voice;
use crate::units::{Decibels, Seconds};

/// Strokes that are measured of each group at most.
const MEASURED: usize = 24;
/// Strokes on other drums within this time hide a stroke's own sound [M].
const COVERED: f64 = 0.03;
/// A stroke with so much time to the next one is as free as it needs to be: what is measured ends there.
const FREE: f64 = 0.2;
/// The attack whose channels are compared, seconds.
const ATTACK: f64 = 0.05;

/// What a drum or cymbal sounds like in this recording.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Timbre {
    /// Pitch of the body, Hz; of drums only.
    pub pitch_hz: Option<f64>,
    /// Centre of gravity of the attack's spectrum, Hz.
    pub bright_hz: f64,
    /// Time in which it falls by 20 dB, seconds.
    pub ring_s: f64,
    /// From -1 (first channel) to 1 (second channel); of recordings with two channels only.
    pub pan: Option<f64>,
}

/// A group of strokes that the program takes for one voice.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Group {
    /// The voice it is taken for, which is its name.
    pub voice: Voice,
    /// Its sound.
    pub sound: Timbre,
}

/// Measures every voice that strikes. `hits` are sorted by time.
pub fn measure(recording: &Recording, hits: &[Hit]) -> Vec<Group> {
    let chosen: Vec<(Voice, Vec<Seconds>)> = Voice::ALL
        .iter()
        .map(|voice| (*voice, freest(hits, *voice)))
        .filter(|(_, times)| !times.is_empty())
        .collect();
    let onsets: Vec<Onset> = (chosen.iter().flat_map(|(_, times)| times))
        .map(|time| Onset {
            time: *time,
            level: Decibels(0.0),
            sure: 1.0,
        })
        .collect();
    let mut rows = features::rows(recording, &onsets).into_iter();
    chosen
        .into_iter()
        .map(|(voice, times)| {
            let own: Vec<Vec<f32>> = rows.by_ref().take(times.len()).collect();
            let of = |measure: fn(&[f32]) -> f32| median(own.iter().map(|row| f64::from(measure(row))));
            let pans = times.iter().filter_map(|time| pan(recording, *time));
            let sound = Timbre {
                pitch_hz: pitch_of(voice).map(of),
                bright_hz: of(features::brightness),
                ring_s: of(features::ring),
                pan: (recording.channels() == 2).then(|| median(pans)),
            };
            Group { voice, sound }
        })
        .collect()
}

/// How to find the pitch of a voice's body, if it has one that tells it from others of its kind.
fn pitch_of(voice: Voice) -> Option<fn(&[f32]) -> f32> {
    match voice {
        Voice::Kick | Voice::KickLeft => Some(features::kick_pitch),
        Voice::Snare | Voice::Snare2 => Some(features::snare_pitch),
        Voice::CrossStick => None,
        drum if drum < Voice::HatClosed => Some(features::body_pitch),
        _ => None,
    }
}

/// The times of the strokes of `voice` that stand freest, in order.
fn freest(hits: &[Hit], voice: Voice) -> Vec<Seconds> {
    let own = hits.iter().enumerate().filter(|(_, hit)| hit.voice == voice);
    let mut times: Vec<(bool, f64, Seconds)> = own
        .map(|(at, hit)| {
            let before = at.checked_sub(1).and_then(|before| hits.get(before));
            let alone = before.is_none_or(|other| (hit.time - other.time).0 > COVERED);
            let after = hits
                .get(at + 1)
                .map_or(FREE, |next| (next.time - hit.time).0.min(FREE));
            (!alone || after < COVERED, FREE - after, hit.time)
        })
        .collect();
    times.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
    let mut times: Vec<Seconds> = times.into_iter().take(MEASURED).map(|(.., time)| time).collect();
    times.sort_by(|a, b| a.0.total_cmp(&b.0));
    times
}

/// Where a stroke stands between the two channels, by what its attack adds to each; `None` in silence.
fn pan(recording: &Recording, time: Seconds) -> Option<f64> {
    let mut block = vec![0.0f32; (ATTACK * f64::from(RATE)) as usize];
    let at = (time - recording.start).0 * f64::from(RATE);
    let mut energy = |channel: usize, start: f64| -> f64 {
        recording.read(channel, start.round() as isize, &mut block);
        block.iter().map(|x| f64::from(*x).powi(2)).sum()
    };
    let length = ATTACK * f64::from(RATE);
    // The attack begins a little before its onset's time: the blocks meet 5 ms ahead of it.
    let ahead = 0.005 * f64::from(RATE);
    let [left, right] = [0, 1].map(|c| {
        (energy(c, at - ahead) - energy(c, at - ahead - length))
            .max(0.0)
            .sqrt()
    });
    (left + right > 0.0).then(|| (right - left) / (right + left))
}

/// The middle of some numbers, 0 of none.
fn median(numbers: impl Iterator<Item = f64>) -> f64 {
    let mut sorted: Vec<f64> = numbers.collect();
    sorted.sort_by(f64::total_cmp);
    let at = |place: usize| sorted.get(place).copied().unwrap_or(0.0);
    match sorted.len() {
        0 => 0.0,
        count => (at((count - 1) / 2) + at(count / 2)) / 2.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hit(time: f64, voice: Voice) -> Hit {
        Hit {
            time: Seconds(time),
            voice,
            level: Decibels(0.0),
            mark: None,
            grace: None,
            sure: 1.0,
        }
    }

    /// Decaying tones of `hertz` on the first channel (`share` of it on the second), one every half second.
    fn tones(hertz: f64, gain: f32, share: f32) -> (Recording, Vec<Hit>) {
        let mut first = vec![0.0f32; 6 * RATE as usize];
        let hits: Vec<Hit> = (1..11).map(|n| hit(0.5 * f64::from(n), Voice::TomMid)).collect();
        for hit in &hits {
            let start = hit.time.to_sample(RATE);
            for (n, x) in first.iter_mut().skip(start).take(RATE as usize / 2).enumerate() {
                let t = n as f64 / f64::from(RATE);
                *x += gain * ((std::f64::consts::TAU * hertz * t).sin() * (-t / 0.1).exp()) as f32;
            }
        }
        let second = first.iter().map(|x| x * share).collect();
        (Recording::from_channels(&[first, second]), hits)
    }

    fn sound(recording: &Recording, hits: &[Hit]) -> Timbre {
        let groups = measure(recording, hits);
        assert_eq!(groups.len(), 1);
        groups[0].sound
    }

    #[test]
    fn a_tone_has_its_pitch_its_decay_and_its_place() {
        let (recording, hits) = tones(140.0, 0.5, 0.25);
        let sound = sound(&recording, &hits);
        let pitch = sound.pitch_hz.unwrap();
        assert!((pitch / 140.0 - 1.0).abs() < 0.06, "{pitch}");
        // exp(-t / 0.1) falls by 20 dB in 0.23 s [=].
        assert!((sound.ring_s - 0.23).abs() < 0.05, "{}", sound.ring_s);
        // Amplitudes 1 and 0.25: (0.25 - 1) / 1.25 [=].
        assert!((sound.pan.unwrap() + 0.6).abs() < 0.01, "{:?}", sound.pan);
    }

    #[test]
    fn louder_and_later_sound_is_the_same_and_swapped_channels_mirror_it() {
        let (recording, hits) = tones(180.0, 0.1, 0.5);
        let plain = sound(&recording, &hits);
        let (louder, _) = tones(180.0, 0.9, 0.5);
        let louder = sound(&louder, &hits);
        assert!((plain.pitch_hz.unwrap() - louder.pitch_hz.unwrap()).abs() < 0.5);
        assert!(
            (plain.ring_s - louder.ring_s).abs() < 0.005 && (plain.bright_hz - louder.bright_hz).abs() < 5.0
        );
        let mut channels = [vec![0.0f32; 6 * RATE as usize], vec![0.0f32; 6 * RATE as usize]];
        let shift = 0.25;
        for (from, to) in [(0, 1), (1, 0)] {
            recording.read(from, -(shift * f64::from(RATE)) as isize, &mut channels[to]);
        }
        let later: Vec<Hit> = hits.iter().map(|h| hit(h.time.0 + shift, h.voice)).collect();
        let swapped = sound(&Recording::from_channels(&channels), &later);
        assert!((swapped.pan.unwrap() + plain.pan.unwrap()).abs() < 0.01);
        assert!((swapped.pitch_hz.unwrap() - plain.pitch_hz.unwrap()).abs() < 0.5);
    }

    #[test]
    fn nothing_struck_has_no_group_and_silence_has_no_place() {
        let recording = Recording::from_channels(&[[0.0f32; 100], [0.0; 100]]);
        assert!(measure(&recording, &[]).is_empty());
        assert_eq!(sound(&recording, &[hit(0.0, Voice::Ride)]).pan, Some(0.0));
    }

    #[test]
    fn covered_strokes_are_measured_last() {
        let mut hits: Vec<Hit> = (0..40).map(|n| hit(f64::from(n), Voice::Snare)).collect();
        hits.push(hit(5.01, Voice::Kick));
        hits.sort_by(|a, b| a.time.0.total_cmp(&b.time.0));
        let times = freest(&hits, Voice::Snare);
        assert_eq!(times.len(), MEASURED);
        assert!(!times.contains(&Seconds(5.0)));
    }
}
