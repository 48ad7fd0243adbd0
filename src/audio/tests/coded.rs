//! The same clicks in every format: found where they are in the WAV file.

use std::f64::consts::TAU;
use std::path::PathBuf;

use super::*;
use crate::audio::read_bytes as read_file;

fn fixture(name: &str) -> Vec<u8> {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/fixtures/formats");
    std::fs::read(folder.join(name)).unwrap()
}

fn decoded(name: &str) -> Recording {
    read_file(fixture(name), name, &AudioOptions::default()).unwrap()
}

/// When the clicks begin, seconds: as the script beside the fixtures makes them.
fn clicks() -> [f64; 8] {
    let mut at = 0.1;
    std::array::from_fn(|n| {
        let now = at;
        at += 0.11 + 0.01 * n as f64;
        now
    })
}

/// How much later than written each click is found, in ms: where the recording is most like the click.
fn late(recording: &Recording, written: [f64; 8]) -> Vec<f64> {
    let click: Vec<f64> = (0..400)
        .map(|i| f64::from(i) / f64::from(RATE))
        .map(|t| (-t / 0.003).exp() * (TAU * 2500.0 * t).sin())
        .collect();
    let likeness = |start: isize| {
        let mut near = vec![0.0; click.len()];
        recording.read_mono(start, &mut near);
        near.iter()
            .zip(&click)
            .map(|(a, b)| f64::from(*a) * b)
            .sum::<f64>()
    };
    let place = |at: f64| (at * f64::from(RATE)).round() as isize;
    let found = |at: &f64| {
        let around = place(at - 0.045)..place(at + 0.045);
        let best = around.max_by(|a, b| likeness(*a).total_cmp(&likeness(*b)));
        1000.0 * (best.unwrap() as f64 / f64::from(RATE) - at)
    };
    written.iter().map(found).collect()
}

#[test]
fn clicks_lie_within_a_millisecond_of_their_places_in_every_format() {
    let stated = [
        "plain.flac",
        "cover.flac",
        "constant.mp3",
        "variable.mp3",
        "plain.m4a",
        "lossless.m4a",
        "film.mp4",
        "pieces.mp4",
        "plain.ogg",
        "film.mkv",
        "film.webm",
        "plain.aiff",
        "little.aifc",
    ];
    for name in stated {
        let recording = decoded(name);
        let late = late(&recording, clicks());
        assert!(late.iter().all(|ms| ms.abs() < 1.0), "{name}: {late:?}");
        assert_eq!(recording.warnings, [] as [String; 0], "{name}");
        assert!(
            (recording.seconds().0 - 1.25).abs() < 0.03,
            "{name}: {:?}",
            recording.seconds()
        );
    }
}

#[test]
fn where_the_delay_is_not_stated_the_usual_one_is_taken_and_told() {
    for name in ["no-delay.mp3", "no-delay.m4a", "frames.aac", "film-aac.mkv"] {
        let recording = decoded(name);
        let late = late(&recording, clicks());
        assert!(late.iter().all(|ms| ms.abs() < 1.0), "{name}: {late:?}");
        let told = &recording.warnings;
        assert!(
            told.len() == 1 && told[0].contains("does not say how late"),
            "{name}: {told:?}"
        );
    }
}

#[test]
fn sound_that_begins_later_than_its_film_keeps_its_distance() {
    let late = late(&decoded("late.mov"), clicks().map(|at| at + 0.25));
    assert!(late.iter().all(|ms| ms.abs() < 1.0), "{late:?}");
}

#[test]
fn a_coding_that_is_not_read_is_named() {
    let error = read_file(fixture("opus.ogg"), "opus.ogg", &AudioOptions::default());
    let error = error.unwrap_err().to_string();
    assert!(error.contains("its sound is Opus, which is not read"), "{error}");
}

#[test]
fn a_file_of_any_format_that_is_cut_short_is_read_as_far_as_it_goes_or_refused() {
    for name in [
        "plain.flac",
        "constant.mp3",
        "plain.m4a",
        "film.mp4",
        "plain.ogg",
        "film.mkv",
        "plain.aiff",
    ] {
        let bytes = fixture(name);
        let (mut read, mut told) = (0, 0);
        for cut in (1..20).map(|part| bytes.len() * part / 20) {
            match read_file(bytes[..cut].to_vec(), name, &AudioOptions::default()) {
                Ok(recording) => {
                    read += 1;
                    told += usize::from(!recording.warnings.is_empty());
                    assert!(recording.seconds().0 < 1.3, "{name} cut at {cut}");
                    let heard = recording.seconds().0 - 0.1;
                    let known = clicks().map(|at| if at < heard { at } else { 0.1 });
                    let late = late(&recording, known);
                    assert!(
                        late.iter().all(|ms| heard < 0.1 || ms.abs() < 1.0),
                        "{name} cut at {cut}: {late:?}"
                    );
                }
                Err(error) => {
                    let error = error.to_string();
                    assert!(error.starts_with(name) && !error.contains('\n'), "{error}");
                }
            }
        }
        assert_eq!(told, read, "{name}: who hears less is told so");
        // An MP4 file that was not made for streaming has at its end what is needed to read it, and the Ogg file is
        // a single page.
        let lost = ["plain.m4a", "plain.ogg"].contains(&name);
        assert!(read > 5 || lost, "{name}: {read} of 19 were read");
    }
}

#[test]
fn a_tag_of_gapless_playback_states_the_delay_where_no_edit_list_does() {
    let with = |name: &[u8], body: &[u8]| [&(body.len() as u32 + 8).to_be_bytes(), name, body].concat();
    let words = b" 00000000 00000840 000001CA 00000000003F31F6 00000000";
    let data = with(b"data", &[&[0; 8], &words[..]].concat());
    let tag = with(b"----", &[with(b"name", b"\0\0\0\0iTunSMPB"), data].concat());
    let list = with(b"meta", &[&[0; 4], &with(b"ilst", &tag)[..]].concat());
    let mut header = vec![0; 24];
    header[12..16].copy_from_slice(&44_100u32.to_be_bytes());
    let kind = with(b"hdlr", b"\0\0\0\0\0\0\0\0soun");
    let track = with(b"trak", &with(b"mdia", &[with(b"mdhd", &header), kind].concat()));
    let film = with(b"moov", &[track, with(b"udta", &list)].concat());
    let length = film.len() as u64;
    let stated = super::mp4::stated(&mut Cursor::new(film), length).unwrap().tracks;
    assert_eq!(stated.len(), 1);
    // 0x840 is 2112 samples.
    assert_eq!(stated[0].skip, Some(2112.0 / 44_100.0));
    assert_eq!(stated[0].length, Some(4_141_558.0 / 44_100.0));
}

#[test]
fn what_the_decoder_once_panicked_over_is_refused() {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/fuzz/crashes");
    let mut seen = 0;
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_str().unwrap().to_owned();
        if name.starts_with("coded-") {
            seen += 1;
            let error = read_file(std::fs::read(&path).unwrap(), "take", &AudioOptions::default());
            let error = error.unwrap_err().to_string();
            assert!(error.contains("contradict each other"), "{name}: {error}");
        }
    }
    assert!(seen >= 2);
}
