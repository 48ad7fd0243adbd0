//! The page as text: whole, the same each time, safe with any name; and the sound beside it.

use super::sound::{AROUND, Part, Sound, Written};
use super::*;
use crate::audio::{RATE, Recording};
use crate::names::Voice;
use crate::options::{Ear, Options};
use crate::practice::drums::{Character, Kit, Strike};
use crate::study::corrections::Corrections;
use crate::study_of;
use crate::units::Seconds;

/// Ten seconds of a pattern on three drums, and where it is struck.
fn recording() -> (Recording, Vec<usize>) {
    let strikes: Vec<Strike> = (0..60)
        .map(|i| Strike {
            time: Seconds(0.2 + f64::from(i) * 0.15),
            voice: [Voice::Kick, Voice::HatClosed, Voice::Snare, Voice::HatClosed][i as usize % 4],
            velocity: 0.9,
        })
        .collect();
    let sound = Kit::new(3, Character::DRY).render(&strikes, Seconds(10.0));
    let struck = strikes.iter().map(|s| s.time.to_sample(RATE)).collect();
    (Recording::from_channels(&sound), struck)
}

fn study(recording: &Recording) -> Study {
    let options = Options {
        ear: Ear::Fast,
        ..Options::default()
    };
    study_of(recording, &options, &mut Corrections::default(), |_| {})
}

fn page(study: &Study, hits: &str, sound: &Sound) -> String {
    let source = Source {
        hits,
        digest: "abc",
        command: "overbar study \"a </script> b.wav\"",
        sound,
    };
    let mut page = Vec::new();
    write(study, &source, &mut page).unwrap();
    String::from_utf8(page).unwrap()
}

fn silent() -> Sound {
    Sound::new(RATE, 1, Seconds(0.0), 0, Seconds(60.0))
}

#[test]
fn the_same_study_gives_the_same_page_with_its_hits_in_it() {
    let (recording, _) = recording();
    let study = study(&recording);
    let hits = "time\tvoice\n0.20000\tkick\n";
    let one = page(&study, hits, &silent());
    assert_eq!(one, page(&study, hits, &silent()));
    assert!(one.contains(r"time\tvoice\n0.20000\tkick\n"));
    for left in ["{title}", "{style}", "{study}", "{worker}", "{script}"] {
        assert!(!one.contains(left), "{left} was not filled in");
    }
}

#[test]
fn the_page_names_nothing_outside_itself() {
    let (recording, _) = recording();
    let page = page(&study(&recording), "time\tvoice\n", &silent());
    for outside in ["http:", "https:", "//cdn", "@import", "url("] {
        assert!(!page.contains(outside), "the page has {outside}");
    }
}

#[test]
fn no_name_ends_a_script_or_a_title() {
    let (mut recording, _) = recording();
    recording.source.file = "</title></script><b>{script}&.wav".to_owned();
    let study = study(&recording);
    let plain = page(&study, "time\tvoice\t</script>\n", &silent());
    let closed = |text: &str, what: &str| text.matches(what).count();
    assert_eq!(closed(&plain, "</script>"), closed(PAGE, "</script>"));
    assert_eq!(
        closed(&plain, "</title>"),
        1 + closed(&SCRIPTS.concat(), "</title>")
    );
    assert!(plain.contains("&lt;/title&gt;&lt;/script&gt;&lt;b&gt;{script}&amp;"));
}

#[test]
fn a_recording_without_hits_or_grid_has_a_page() {
    let silence = Recording::from_channels(&[vec![0.0f32; RATE as usize]]);
    let page = page(&study(&silence), "time\tvoice\n", &silent());
    assert!(page.contains(r#""clock":true"#) && page.contains(r#""figures":[]"#));
}

/// All parts of a sound, as the command makes them.
fn parts(recording: &Recording, sound: &Sound, strokes: &[usize]) -> Vec<Written> {
    (0..sound.parts())
        .map(|number| {
            let first = number * sound.part;
            let before = AROUND.min(first);
            let mut samples =
                vec![vec![0.0; before + sound.length_of(number) + AROUND]; recording.channels()];
            for (channel, samples) in samples.iter_mut().enumerate() {
                recording.read(channel, (first - before) as isize, samples);
            }
            let part = Part {
                number,
                first,
                samples,
            };
            sound::write(sound, &part, strokes)
        })
        .collect()
}

#[test]
fn parts_together_know_every_attack_wherever_the_sound_is_cut() {
    let (recording, struck) = recording();
    let mut whole = Sound::new(RATE, 2, Seconds(0.0), recording.len(), Seconds(60.0));
    whole.gather(parts(&recording, &whole, &struck).iter());
    let mut cut = Sound {
        part: 100_000,
        ..whole.clone()
    };
    cut.gather(parts(&recording, &cut, &struck).iter());
    assert!(cut.parts() > 4);
    for sound in [&whole, &cut] {
        assert!(
            struck.iter().all(|at| sound.attacks.contains(at)),
            "{:?}",
            sound.attacks
        );
        assert!(sound.attacks.is_sorted() && sound.attacks.iter().all(|at| *at < sound.length));
    }
    assert_eq!(whole.peak, cut.peak);
}

#[test]
fn no_stretch_without_attacks_is_longer_than_a_few_seconds() {
    let mut sound = Sound::new(RATE, 1, Seconds(0.0), 60 * RATE as usize, Seconds(600.0));
    let told = Written {
        flac: Vec::new(),
        attacks: vec![30 * RATE as usize],
        peak: 0.5,
    };
    sound.gather([told].iter());
    let ends = [0, sound.length];
    let mut all: Vec<usize> = sound.attacks.iter().copied().chain(ends).collect();
    all.sort_unstable();
    assert!(all.windows(2).all(|pair| pair[1] - pair[0] <= 4 * RATE as usize));
    assert!(sound.attacks.contains(&(30 * RATE as usize)));
}

#[test]
fn a_long_recording_gives_no_more_sound_than_is_wanted() {
    let hours = 3 * 3600 * RATE as usize;
    let sound = Sound::new(RATE, 6, Seconds(1.5), hours, Seconds(1200.0));
    assert_eq!((sound.length, sound.whole), (1200 * RATE as usize, hours));
    assert_eq!((sound.parts(), sound.channels), (60, 1));
    assert_eq!(Sound::new(RATE, 2, Seconds(0.0), hours, Seconds(0.0)).parts(), 0);
}

#[test]
fn every_voice_has_a_stroke_to_play_what_is_written() {
    let script = drums::script(RATE);
    assert_eq!(script, drums::script(RATE));
    for voice in Voice::ALL {
        // FLAC begins with "fLaC".
        assert!(script.contains(&format!("\"{voice}\": \"ZkxhQ")), "{voice}");
    }
}
