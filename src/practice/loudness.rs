//! How loud sound is by ITU-R BS.1770, measured by the library `ebur128`, and gains that keep practice sound in bounds.
//!
//! In: samples at [`RATE`], one slice a channel. Out: integrated loudness in LUFS and the true peak as an amplitude.

use ebur128::{EbuR128, Mode};

use crate::audio::RATE;
use crate::units::Decibels;

/// How loud a piece of sound is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Loudness {
    /// Integrated loudness in LUFS; `None` for silence and for less than 0.4 s, which BS.1770 does not weigh.
    pub integrated: Option<f64>,
    /// The highest true peak of any channel, as an amplitude.
    pub peak: f64,
}

/// Sound that comes from no recording is made as loud as broadcasts are [P: EBU R 128], and never peaks over 1 dB under
/// full scale.
pub const USUAL: Loudness = Loudness {
    integrated: Some(-23.0),
    peak: 0.891_25,
};

/// Measures a piece of sound.
pub fn measure(channels: &[Vec<f32>]) -> Loudness {
    let silent = Loudness {
        integrated: None,
        peak: 0.0,
    };
    let slices: Vec<&[f32]> = channels.iter().map(Vec::as_slice).collect();
    let count = u32::try_from(channels.len()).unwrap_or(0);
    let weigh = || -> Result<Loudness, ebur128::Error> {
        let mut meter = EbuR128::new(count, RATE, Mode::I | Mode::TRUE_PEAK)?;
        meter.add_frames_planar_f32(&slices)?;
        let mut peak = 0.0f64;
        for channel in 0..count {
            peak = peak.max(meter.true_peak(channel)?);
        }
        let integrated = meter.loudness_global()?;
        Ok(Loudness {
            integrated: integrated.is_finite().then_some(integrated),
            peak,
        })
    };
    // The library refuses only sound without channels.
    weigh().unwrap_or(silent)
}

/// The gain that makes sound of loudness `own` as loud as `model`, never louder by loudness or by peak.
pub fn gain(own: &Loudness, model: &Loudness) -> Decibels {
    let by_peak = if own.peak > 0.0 {
        20.0 * (model.peak / own.peak).log10()
    } else {
        0.0
    };
    let by_loudness = match (own.integrated, model.integrated) {
        (Some(own), Some(model)) => model - own,
        _ => by_peak,
    };
    Decibels(by_peak.min(by_loudness))
}

/// Brings sound to the level of `model`, never louder.
pub fn level(sound: &mut [Vec<f32>], model: &Loudness) {
    let factor = gain(&measure(sound), model).to_amplitude() as f32;
    sound.iter_mut().flatten().for_each(|s| *s *= factor);
}

/// Quietens sound that is louder than `model`; quieter sound stays as it is.
pub fn never_louder(sound: &mut [Vec<f32>], model: &Loudness) {
    let factor = gain(&measure(sound), model).to_amplitude().min(1.0) as f32;
    sound.iter_mut().flatten().for_each(|s| *s *= factor);
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Sines of `hz` at these levels in dB under full scale, each for so many seconds.
    fn sine(hz: f64, parts: &[(f64, f64)]) -> Vec<f32> {
        let mut samples = Vec::new();
        for (decibels, seconds) in parts {
            let level = Decibels(*decibels).to_amplitude();
            for _ in 0..(seconds * f64::from(RATE)) as usize {
                let t = samples.len() as f64 / f64::from(RATE);
                samples.push((level * (std::f64::consts::TAU * hz * t).sin()) as f32);
            }
        }
        samples
    }

    fn stereo(parts: &[(f64, f64)]) -> f64 {
        let channel = sine(1000.0, parts);
        measure(&[channel.clone(), channel]).integrated.unwrap()
    }

    #[test]
    fn a_full_scale_sine_of_997_hz_in_one_channel_is_3_01_under() {
        // [P: ITU-R BS.1770-4, annex 1]
        let loud = measure(&[sine(997.0, &[(0.0, 5.0)])]).integrated.unwrap();
        assert!((loud + 3.01).abs() < 0.02, "{loud}");
    }

    #[test]
    fn the_meters_minimum_requirements_are_met_to_a_tenth() {
        // [P: EBU Tech 3341, table 1, test signals 1 to 5]
        let cases: [(&[(f64, f64)], f64); 5] = [
            (&[(-23.0, 20.0)], -23.0),
            (&[(-33.0, 20.0)], -33.0),
            (&[(-36.0, 10.0), (-23.0, 60.0), (-36.0, 10.0)], -23.0),
            (
                &[
                    (-72.0, 10.0),
                    (-36.0, 10.0),
                    (-23.0, 60.0),
                    (-36.0, 10.0),
                    (-72.0, 10.0),
                ],
                -23.0,
            ),
            (&[(-26.0, 20.0), (-20.0, 20.1), (-26.0, 20.0)], -23.0),
        ];
        for (parts, wanted) in cases {
            let found = stereo(parts);
            assert!((found - wanted).abs() <= 0.1, "{parts:?}: {found}");
        }
    }

    #[test]
    fn a_true_peak_between_samples_is_seen() {
        // [P: EBU Tech 3341, table 1, test signal 16: a quarter of the rate, 45 degrees, half of full scale: -6.0 dBTP]
        let samples: Vec<f32> = (0..44_100)
            .map(|i| {
                (0.5 * (std::f64::consts::FRAC_PI_2 * i as f64 + std::f64::consts::FRAC_PI_4).sin()) as f32
            })
            .collect();
        let peak = 20.0 * measure(&[samples]).peak.log10();
        assert!((-6.4..=-5.8).contains(&peak), "{peak}");
    }

    #[test]
    fn levelled_sound_is_as_loud_as_its_model_and_never_louder() {
        for (own, model) in [(-30.0, -20.0), (-10.0, -24.0), (-3.0, -3.0)] {
            let model = measure(&[sine(500.0, &[(model, 2.0)])]);
            let mut sound = vec![sine(800.0, &[(own, 3.0)])];
            level(&mut sound, &model);
            let levelled = measure(&sound);
            assert!(levelled.peak <= model.peak * 1.0001);
            let (a, b) = (levelled.integrated.unwrap(), model.integrated.unwrap());
            assert!(a <= b + 0.01 && a > b - 1.5, "{a} {b}");
        }
        let mut silence = vec![vec![0.0; 44_100]];
        level(&mut silence, &USUAL);
        assert!(silence[0].iter().all(|s| *s == 0.0));
        never_louder(&mut [], &USUAL);
    }
}
