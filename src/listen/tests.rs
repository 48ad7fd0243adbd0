//! Laws of listening, and agreement with the framework that trained the network.

use super::*;
use crate::audio::RATE;

/// What the training framework made of [`example`] in single precision: its features, then what it heard in them.
/// Written by `tests/fitting/listen/network.py`.
static GOLDEN: &[u8] = include_bytes!("golden.f32");

/// The sound that the golden file is about: bursts of noise from a linear congruence, and falling sines.
fn example() -> Vec<f32> {
    let n = (1.3 * f64::from(RATE)) as usize;
    let mut state = 1u32;
    let mut sound: Vec<f64> = (0..n)
        .map(|k| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let noise = f64::from(state >> 8) / f64::from(1 << 23) - 1.0;
            let since = (k % 9000) as f64;
            let hertz = [60.0, 180.0, 330.0][k / 9000 % 3];
            let sine = (std::f64::consts::TAU * hertz * since / f64::from(RATE)).sin();
            0.4 * noise * (-since / 1500.0).exp() + 0.5 * sine * (-since / 4000.0).exp()
        })
        .collect();
    let peak = sound.iter().fold(0.0f64, |peak, x| peak.max(x.abs()));
    sound.iter_mut().for_each(|x| *x /= peak);
    sound.iter().map(|x| *x as f32).collect()
}

/// Features ([`features::BANDS`] rows) and outputs ([`SOUNDS`] rows) of the golden file, and its frames.
fn golden() -> (Vec<f32>, Vec<f32>, usize) {
    let numbers: Vec<f32> = GOLDEN
        .as_chunks()
        .0
        .iter()
        .map(|b| f32::from_le_bytes(*b))
        .collect();
    let frames = numbers.len() / (features::BANDS + SOUNDS);
    let (seen, heard) = numbers.split_at(features::BANDS * frames);
    (seen.to_vec(), heard.to_vec(), frames)
}

fn furthest(a: impl IntoIterator<Item = f32>, b: impl IntoIterator<Item = f32>) -> f32 {
    a.into_iter()
        .zip(b)
        .fold(0.0, |most, (a, b)| most.max((a - b).abs()))
}

fn flat(heard: &[[f32; SOUNDS]]) -> impl Iterator<Item = f32> + '_ {
    (0..SOUNDS).flat_map(move |s| heard.iter().map(move |frame| frame[s]))
}

#[test]
fn the_features_are_those_of_the_training_framework() {
    let recording = Recording::from_channels(&[example()]);
    let (seen, _, frames) = golden();
    let own = features::Features::new().of(&recording, 0..frames, 1.0);
    assert_eq!((own.len(), recording.len() / HOP + 1), (seen.len(), frames));
    // Both round transforms of single precision, which shows in the logarithm of what is next to silence.
    let off = furthest(own, seen);
    assert!(off < 2e-3, "{off}");
}

#[test]
fn the_network_agrees_with_the_training_framework_to_a_ten_thousandth() {
    let (seen, heard, frames) = golden();
    let own = network::Network::trained().run(&seen, frames, 0..frames);
    let off = furthest(flat(&own), heard);
    assert!(off < 1e-4, "{off}");
}

#[test]
fn chunks_hear_what_the_whole_hears() {
    let recording = Recording::from_channels(&[example()]);
    let whole = listen_by(&recording, 1000);
    let parts = listen_by(&recording, 37);
    assert_eq!(whole.len(), parts.len());
    let off = furthest(flat(&whole.frames), flat(&parts.frames));
    assert!(off < 1e-5, "{off}");
}

#[test]
fn what_is_heard_does_not_depend_on_the_number_of_threads() {
    let recording = Recording::from_channels(&[example().repeat(10)]);
    let on = |threads| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .unwrap();
        pool.install(|| listen(&recording))
    };
    assert_eq!(on(1), on(3));
}

#[test]
fn a_louder_copy_is_heard_alike() {
    let sound = example();
    let soft: Vec<f32> = sound.iter().map(|x| x * 0.01).collect();
    let [a, b] = [sound, soft].map(|sound| listen(&Recording::from_channels(&[sound])));
    let off = furthest(flat(&a.frames), flat(&b.frames));
    assert!(off < 1e-4, "{off}");
}

#[test]
fn two_opinions_meet_half_way_in_log_odds() {
    assert!((agreed(0.9, 0.9) - 0.9).abs() < 1e-6);
    assert!((agreed(0.8, 0.2) - 0.5).abs() < 1e-6);
    assert_eq!(
        [agreed(0.0, 0.7), agreed(1.0, 0.7), agreed(0.0, 1.0)],
        [0.0, 1.0, 0.5]
    );
}

#[test]
fn through_a_band_the_same_frames_are_heard() {
    let recording = Recording::from_channels(&[example()]);
    assert_eq!(listen_through_a_band(&recording).len(), listen(&recording).len());
    assert!(listen_through_a_band(&Recording::default()).is_empty());
}

#[test]
fn nothing_is_heard_in_silence() {
    assert!(listen(&Recording::default()).is_empty());
    assert!(listen(&Recording::from_channels(&[vec![0.0; 5000]])).is_empty());
}

#[test]
fn a_single_sample_is_listened_to() {
    assert_eq!(listen(&Recording::from_channels(&[vec![0.5]])).len(), 1);
}

/// What the finer network was given and what it made of it, in single precision: written by
/// `tests/fitting/listen/sharp.py`.
static SHARP: &[u8] = include_bytes!("sharp.f32");

#[test]
fn the_finer_network_and_its_features_are_those_of_the_training_framework() {
    let numbers: Vec<f32> = SHARP
        .as_chunks()
        .0
        .iter()
        .map(|b| f32::from_le_bytes(*b))
        .collect();
    let frames = numbers.len() / (sharp::INPUTS + sharp::OUTPUTS);
    let (seen, odds) = numbers.split_at(sharp::INPUTS * frames);
    let recording = Recording::from_channels(&[example()]);
    assert_eq!(recording.len() / sharp::HOP + 1, frames);
    let mut own = vec![0.0; sharp::BANDS * frames];
    sharp::look(&recording, 0, frames, 1.0, &mut own);
    let off = furthest(own, seen[..sharp::BANDS * frames].iter().copied());
    assert!(off < 2e-3, "{off}");
    let likely = |odds: &f32| 1.0 / (1.0 + (-odds).exp());
    let own = sharp::Network::trained().run(seen, frames);
    let off = furthest(own.iter().map(likely), odds.iter().map(likely));
    assert!(off < 1e-4, "{off}");
}

#[test]
fn the_file_of_the_finer_network_holds_it_and_nothing_else() {
    let (inputs, hidden, taps) = (sharp::INPUTS, sharp::HIDDEN, sharp::TAPS);
    let layers = (taps * inputs + 1) * hidden + 3 * (taps * hidden + 1) * hidden;
    assert_eq!(
        sharp::WEIGHTS.len(),
        2 * (2 * inputs + layers + sharp::OUTPUTS * (hidden + 1))
    );
}

#[test]
fn the_finer_network_hears_the_same_in_pieces_and_nothing_in_silence() {
    let long: Vec<f32> = (0..12).flat_map(|_| example()).collect();
    let recording = Recording::from_channels(&[long]);
    let heard = listen(&recording);
    let whole = Sharp::listen_by(&recording, &heard, 100_000);
    for chunk in [7, 50, 2000] {
        let pieces = Sharp::listen_by(&recording, &heard, chunk);
        let off = (0..recording.len() / sharp::HOP)
            .map(|k| (pieces.at(Sound::Any, k as f32) - whole.at(Sound::Any, k as f32)).abs())
            .fold(0.0, f32::max);
        assert!(off < 1e-3, "{chunk}: {off}");
    }
    assert_eq!(
        Sharp::listen(&Recording::from_channels(&[vec![]]), &heard),
        Sharp::default()
    );
    let silent = Recording::from_channels(&[vec![0.0; 9000]]);
    assert_eq!(Sharp::listen(&silent, &listen(&silent)), Sharp::default());
}
