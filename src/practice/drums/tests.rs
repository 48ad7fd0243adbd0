//! The kit against the trade's table of sounds **[M]**, and what must hold for every stroke.

use realfft::RealFftPlanner;

use super::*;

const START: Seconds = Seconds(0.1);

/// A kit without a room, so that what rings is the drum.
fn bare() -> Kit {
    let character = Character {
        room: Decibels(-200.0),
        ..Character::PLAIN
    };
    Kit::new(11, character)
}

fn strike(time: f64, voice: Voice, velocity: f64) -> Strike {
    Strike {
        time: Seconds(time),
        voice,
        velocity,
    }
}

/// Both sides together.
fn mono(channels: &[Vec<f32>]) -> Vec<f32> {
    channels[0].iter().zip(&channels[1]).map(|(a, b)| a + b).collect()
}

fn one(voice: Voice, velocity: f64, length: f64) -> Vec<f32> {
    mono(&bare().render(&[strike(START.0, voice, velocity)], Seconds(length)))
}

fn level(sound: &[f32]) -> f64 {
    Decibels::from_amplitude(loudest(sound)).0
}

fn peak(sound: &[f32]) -> f32 {
    sound.iter().fold(0.0, |peak, s| peak.max(s.abs()))
}

/// Power by frequency in the 0.2 s from the start of the stroke on: (Hz, power).
fn spectrum(sound: &[f32]) -> Vec<(f64, f64)> {
    let start = START.to_sample(RATE);
    let length = Seconds(0.2).to_sample(RATE);
    let fade = |i: usize| 1.0 - i as f32 / length as f32;
    let mut input: Vec<f32> = sound[start..start + length]
        .iter()
        .enumerate()
        .map(|(i, s)| s * fade(i))
        .collect();
    let fft = RealFftPlanner::new().plan_fft_forward(length);
    let mut output = fft.make_output_vec();
    fft.process(&mut input, &mut output).unwrap();
    let hz = f64::from(RATE) / length as f64;
    output
        .iter()
        .enumerate()
        .map(|(i, c)| (i as f64 * hz, f64::from(c.norm_sqr())))
        .collect()
}

fn strongest(sound: &[f32]) -> f64 {
    spectrum(sound)
        .into_iter()
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .unwrap()
        .0
}

fn centroid(sound: &[f32]) -> f64 {
    let bins = spectrum(sound);
    bins.iter().map(|(hz, p)| hz * p).sum::<f64>() / bins.iter().map(|(_, p)| p).sum::<f64>()
}

/// Time from the blow until the sound stays 40 dB under its loudest 20 ms.
fn rings(sound: &[f32]) -> f64 {
    let floor = loudest(sound) / 100.0;
    let window = Seconds(0.01).to_sample(RATE);
    let power = |w: &[f32]| w.iter().map(|s| f64::from(*s).powi(2)).sum::<f64>() / w.len() as f64;
    let last = sound
        .chunks(window)
        .rposition(|w| power(w).sqrt() > floor)
        .unwrap();
    Seconds::from_sample((last + 1) * window, RATE).0 - START.0
}

#[test]
fn every_voice_begins_at_its_time_within_a_millisecond() {
    for &voice in Voice::ALL {
        for velocity in [0.2, 0.9] {
            let sound = one(voice, velocity, 0.4);
            let first = sound.iter().position(|s| *s != 0.0).unwrap();
            let heard = sound.iter().position(|s| s.abs() > 0.05 * peak(&sound)).unwrap();
            assert!(first >= START.to_sample(RATE), "{voice} begins early");
            let late = Seconds::from_sample(heard, RATE) - START;
            assert!(late.to_millis().0 <= 1.0, "{voice} begins {late:?} late");
        }
    }
}

#[test]
fn every_drum_sounds_at_the_pitch_of_its_kind_and_the_kick_is_lowest() {
    // TRADE 6 [M].
    let bodies = [
        (Voice::Kick, 40.0, 80.0),
        (Voice::KickLeft, 40.0, 80.0),
        (Voice::Snare, 150.0, 250.0),
        (Voice::Snare2, 250.0, 400.0),
        (Voice::TomHigh, 95.0, 260.0),
        (Voice::TomMid, 95.0, 260.0),
        (Voice::TomLow, 95.0, 260.0),
        (Voice::TomFloor, 60.0, 120.0),
        (Voice::TomFloor2, 60.0, 120.0),
        (Voice::RideBell, 1000.0, 5000.0),
        (Voice::Ride, 2000.0, 8000.0),
    ];
    for (voice, low, high) in bodies {
        let hz = strongest(&one(voice, 0.8, 0.4));
        assert!((low..=high).contains(&hz), "{voice} sounds at {hz} Hz");
    }
    let falling = [
        Voice::TomHigh,
        Voice::TomMid,
        Voice::TomLow,
        Voice::TomFloor,
        Voice::TomFloor2,
        Voice::Kick,
    ];
    for pair in falling.windows(2) {
        let (upper, lower) = (
            strongest(&one(pair[0], 0.8, 0.4)),
            strongest(&one(pair[1], 0.8, 0.4)),
        );
        assert!(upper > lower, "{} {upper} Hz, {} {lower} Hz", pair[0], pair[1]);
    }
    let toms: Vec<f64> = falling[..5]
        .iter()
        .map(|&v| centroid(&one(v, 0.5, 0.4)))
        .collect();
    assert!(toms.windows(2).all(|pair| pair[0] > pair[1]), "{toms:?}");
    assert!(centroid(&one(Voice::Snare2, 0.8, 0.4)) > centroid(&one(Voice::Snare, 0.8, 0.4)));
    assert!(centroid(&one(Voice::HatClosed, 0.8, 0.4)) > 5000.0);
}

#[test]
fn every_voice_rings_as_long_as_its_kind() {
    // TRADE 6 [M]; single figures there are given half as much again either way.
    let times = [
        (Voice::Kick, 0.1, 0.4),
        (Voice::KickLeft, 0.1, 0.4),
        (Voice::Snare, 0.1, 0.3),
        (Voice::Snare2, 0.1, 0.2),
        (Voice::TomHigh, 0.3, 1.0),
        (Voice::TomMid, 0.3, 1.0),
        (Voice::TomLow, 0.3, 1.0),
        (Voice::TomFloor, 0.6, 1.5),
        (Voice::TomFloor2, 0.6, 1.5),
        (Voice::HatClosed, 0.05, 0.15),
        (Voice::HatFoot, 0.05, 0.15),
        (Voice::HatOpen, 0.5, 2.0),
        (Voice::Ride, 2.0, 6.0),
        (Voice::RideBell, 2.0, 6.0),
        (Voice::Crash, 2.0, 6.0),
        (Voice::Crash2, 2.0, 6.0),
        (Voice::Splash, 0.5, 1.5),
        (Voice::China, 1.0, 3.0),
    ];
    for (voice, least, most) in times {
        let time = rings(&one(voice, 0.9, 8.0));
        assert!((least..=most).contains(&time), "{voice} rings for {time:.2} s");
    }
}

/// Share of the power of the first 0.2 s that lies between two frequencies.
fn share(sound: &[f32], from: f64, to: f64) -> f64 {
    let bins = spectrum(sound);
    let all: f64 = bins.iter().map(|(_, p)| p).sum();
    let inside = bins.iter().filter(|(hz, _)| (from..to).contains(hz));
    inside.map(|(_, p)| p).sum::<f64>() / all
}

/// Power between two frequencies in the 12 ms that begin `after` seconds after the blow, in dB.
fn burst(sound: &[f32], after: f64, from: f64, to: f64) -> f64 {
    let (start, length) = (
        (START + Seconds(after)).to_sample(RATE),
        Seconds(0.012).to_sample(RATE),
    );
    let step = std::f64::consts::TAU / f64::from(RATE);
    // One sum per frequency, 100 Hz apart: few are wanted.
    let power = |hz: f64| {
        let (mut re, mut im) = (0.0, 0.0);
        for (i, s) in sound[start..start + length].iter().enumerate() {
            let window = 0.5 - 0.5 * (std::f64::consts::TAU * i as f64 / length as f64).cos();
            let angle = step * hz * i as f64;
            re += window * f64::from(*s) * angle.cos();
            im += window * f64::from(*s) * angle.sin();
        }
        re * re + im * im
    };
    let sum: f64 = (0..)
        .map(|k| from + 100.0 * f64::from(k))
        .take_while(|hz| *hz < to)
        .map(power)
        .sum();
    10.0 * sum.max(1e-30).log10()
}

#[test]
fn skins_click_where_their_kind_does_and_snares_rattle() {
    // TRADE 6 [M]: the click lies at the blow, not in what rings on.
    for (voice, from, to) in [
        (Voice::Kick, 2500.0, 4000.0),
        (Voice::KickLeft, 2500.0, 4000.0),
        (Voice::TomHigh, 3000.0, 6000.0),
        (Voice::TomMid, 3000.0, 6000.0),
        (Voice::TomFloor, 2000.0, 4000.0),
    ] {
        let sound = one(voice, 0.9, 0.4);
        let (blow, later) = (burst(&sound, 0.0, from, to), burst(&sound, 0.08, from, to));
        assert!(blow > later + 15.0, "{voice}: {blow:.1} dB, later {later:.1} dB");
    }
    let wires = |voice| share(&one(voice, 0.8, 0.4), 2000.0, 10_000.0);
    for voice in [Voice::Snare, Voice::Snare2] {
        assert!(wires(voice) > 0.1, "{voice}: {:.3}", wires(voice));
    }
    assert!(
        wires(Voice::TomMid) < 0.05,
        "a tom has no wires: {:.3}",
        wires(Voice::TomMid)
    );
}

#[test]
fn metal_sounds_above_the_skins_and_a_crash_blooms_slowly() {
    // TRADE 6 [M].
    for voice in [Voice::HatClosed, Voice::HatOpen, Voice::HatFoot] {
        let low = share(&one(voice, 0.8, 0.4), 0.0, 300.0);
        assert!(low < 0.01, "{voice}: {low:.3} below 300 Hz");
    }
    for voice in [Voice::Crash, Voice::Crash2, Voice::Splash, Voice::China] {
        let wash = share(&one(voice, 0.8, 0.4), 300.0, 12_000.0);
        assert!(wash > 0.9, "{voice}: {wash:.3} from 300 Hz to 12 kHz");
    }
    let wash = |voice, after| burst(&one(voice, 0.8, 1.0), after, 1000.0, 6000.0);
    let fall = |voice| wash(voice, 0.0) - wash(voice, 0.06);
    let (crash, hat) = (fall(Voice::Crash), fall(Voice::HatClosed));
    assert!(crash < 3.0, "a crash lives on: {crash:.1} dB lost in 60 ms");
    assert!(hat > crash + 6.0, "a closed hat does not: {hat:.1} dB");
}

#[test]
fn a_harder_stroke_is_louder_and_brighter() {
    for &voice in Voice::ALL {
        let (soft, hard) = (one(voice, 0.35, 0.5), one(voice, 0.95, 0.5));
        assert!(level(&hard) > level(&soft) + 9.0, "{voice}");
        assert!(
            centroid(&hard) > centroid(&soft),
            "{voice}: {} {}",
            centroid(&soft),
            centroid(&hard)
        );
    }
}

#[test]
fn a_ghost_note_lies_12_to_25_db_under_an_accent() {
    // TRADE 5 [M].
    for voice in [Voice::Snare, Voice::Snare2, Voice::HatClosed] {
        let under = level(&one(voice, 0.95, 0.5)) - level(&one(voice, 0.3, 0.5));
        assert!((12.0..=25.0).contains(&under), "{voice}: {under} dB");
    }
}

#[test]
fn no_two_strokes_are_alike_yet_the_same_seed_gives_the_same_sound() {
    let twice = [strike(0.0, Voice::Snare, 0.7), strike(1.0, Voice::Snare, 0.7)];
    let sound = bare().render(&twice, Seconds(2.0));
    assert_eq!(sound, bare().render(&twice, Seconds(2.0)));
    let (first, second) = sound[0].split_at(RATE as usize);
    let differs = first
        .iter()
        .zip(second)
        .map(|(a, b)| (a - b).abs())
        .fold(0.0, f32::max);
    assert!(differs > 0.02, "{differs}");
    assert!((level(first) - level(second)).abs() < 2.0);
    assert_ne!(sound, Kit::new(12, Character::PLAIN).render(&twice, Seconds(2.0)));
}

#[test]
fn later_strokes_make_the_same_sound_later() {
    let figure = |late: f64| {
        let strikes = [
            strike(late, Voice::Kick, 0.8),
            strike(late + 0.25, Voice::HatOpen, 0.6),
        ];
        Kit::new(3, Character::ROOMY).render(&strikes, Seconds(1.0 + late))
    };
    let (now, later) = (figure(0.0), figure(0.5));
    assert!(peak(&now[0]) > 0.1);
    for (a, b) in now.iter().zip(&later) {
        assert_eq!(a[..], b[RATE as usize / 2..]);
    }
}

#[test]
fn closing_the_hats_chokes_them() {
    let open = strike(0.0, Voice::HatOpen, 0.8);
    let left = |strikes: &[Strike]| level(&mono(&bare().render(strikes, Seconds(1.0)))[30_000..]);
    let ringing = left(&[open]);
    for closing in [Voice::HatFoot, Voice::HatClosed] {
        assert!(
            left(&[open, strike(0.3, closing, 0.6)]) < ringing - 30.0,
            "{closing}"
        );
    }
    assert!((left(&[open, strike(0.3, Voice::Kick, 0.01)]) - ringing).abs() < 1.0);
}

#[test]
fn drums_stand_where_their_player_hears_them() {
    let sides = |voice, width| {
        let kit = Kit::new(
            1,
            Character {
                width,
                ..Character::DRY
            },
        );
        let sound = kit.render(&[strike(0.0, voice, 0.8)], Seconds(0.5));
        level(&sound[1]) - level(&sound[0])
    };
    assert!(sides(Voice::HatClosed, 1.0) < -3.0 && sides(Voice::TomFloor, 1.0) > 3.0);
    assert!(sides(Voice::HatClosed, 0.0).abs() < 0.1);
}

#[test]
fn a_live_room_answers_longer_than_a_dry_one() {
    let after = |character| {
        let sound = Kit::new(1, character).render(&[strike(0.0, Voice::CrossStick, 0.9)], Seconds(1.0));
        level(&mono(&sound)[13_000..]) - level(&mono(&sound))
    };
    assert!(after(Character::ROOMY) > after(Character::DRY) + 20.0);
}

#[test]
fn a_crowd_of_strokes_stays_within_reach_of_full_scale() {
    let all: Vec<Strike> = Voice::ALL.iter().map(|&voice| strike(0.0, voice, 1.0)).collect();
    let loud = peak(&Kit::new(1, Character::ROOMY).render(&all, Seconds(1.0))[0]);
    assert!((0.5..8.0).contains(&loud), "{loud}");
}

#[test]
fn odd_strokes_make_no_sound_and_no_trouble() {
    let odd = [
        strike(f64::NAN, Voice::Kick, 0.5),
        strike(-1.0, Voice::Kick, 0.5),
        strike(0.0, Voice::Kick, f64::NAN),
        strike(0.0, Voice::Kick, -1.0),
        strike(9e99, Voice::Kick, 1.0),
    ];
    let silent = bare().render(&odd, Seconds(0.1));
    assert!(silent.len() == 2 && silent.iter().all(|c| c.len() == 4410 && peak(c) == 0.0));
    assert_eq!(
        bare().render(&odd, Seconds(f64::NAN)),
        [Vec::<f32>::new(), Vec::new()]
    );
    assert_eq!(
        bare().render(&[strike(0.0999, Voice::Crash, 9.0)], Seconds(0.1))[0].len(),
        4410
    );
}

#[test]
fn an_impossible_character_makes_no_trouble() {
    for amount in [0.0, -1.0, 1e9, f64::NAN, f64::INFINITY] {
        let character = Character {
            tuning: amount,
            ring: amount,
            brightness: amount,
            room: Decibels(amount),
            room_seconds: Seconds(amount),
            width: amount,
            looseness: amount,
        };
        let strikes: Vec<Strike> = Voice::ALL.iter().map(|&voice| strike(0.01, voice, 0.7)).collect();
        assert_eq!(
            Kit::new(1, character).render(&strikes, Seconds(0.1))[1].len(),
            4410,
            "{amount}"
        );
    }
}
