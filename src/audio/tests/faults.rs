//! Everything that can be wrong with a sound file.

use std::fs;
use std::path::Path;

use proptest::prelude::*;

use super::*;

#[test]
fn a_file_cut_anywhere_is_read_as_far_as_it_goes_or_refused() {
    let bytes = wav(form(1, 24, 3, true), 2, 48_000, &noise(8, 400));
    let whole = read_bytes(&bytes).unwrap().len();
    let mut read = 0;
    for cut in 0..bytes.len() {
        match read_bytes(&bytes[..cut]) {
            Ok(recording) => {
                read += 1;
                assert!(recording.len() <= whole);
                assert!(
                    recording.warnings.iter().any(|w| w.contains("cut short")),
                    "cut at {cut}"
                );
            }
            Err(error) => assert!(error.to_string().starts_with("take.wav: "), "{error}"),
        }
    }
    assert!(read > 1000, "only {read} cuts were read");
}

#[test]
fn a_sample_that_is_no_number_is_refused_with_its_place() {
    for (bad, says) in [
        (f64::NAN, "not a number"),
        (f64::INFINITY, "inf"),
        (-1e30, "-1e30"),
    ] {
        for layout in [form(3, 32, 4, false), form(3, 64, 8, false)] {
            let mut samples = noise(9, 88_200);
            samples[2 * 11_025 + 1] = bad;
            samples[2 * 30_000] = bad;
            let error = refusal(&wav(layout, 2, RATE, &samples));
            assert!(error.contains("at 0.25000 s") && error.contains(says), "{error}");
        }
    }
}

#[test]
fn files_that_are_not_read_are_named_and_the_way_out_is_told() {
    let cases: [(&[u8], &str); 7] = [
        (b"RIFX\0\0\0\0WAVE", "a big-endian WAV file"),
        (b"riff\x2E\x91\xCF\x11xxxx", "a Wave64 file"),
        (b"caff\0\x01\0\0xxxx", "a CAF file"),
        (b"RIFF\0\0\0\0AVI ", "an AVI film"),
        (b"MThd\0\0\0\x06\0\0\0\0", "a MIDI file"),
        (b"\x89PNG\r\n\x1A\n\0\0\0\x0D", "a picture"),
        (b"\xFF\xD8\xFF\xE0\0\x10JFIF\0\x01", "a picture"),
    ];
    for (bytes, kind) in cases {
        let error = refusal(bytes);
        assert!(
            error.contains(kind) && error.contains("convert the recording to WAV"),
            "{error}"
        );
    }
}

#[test]
fn a_file_that_only_begins_as_a_sound_file_is_refused_in_one_line() {
    let heads: [&[u8]; 10] = [
        b"fLaC\0\0\0\x22xxxx",
        b"OggS\0\x02xxxxxx",
        b"FORM\0\0\0\0AIFF",
        b"FORM\0\0\0\0AIFC",
        b"\0\0\0\x20ftypM4A ",
        b"\x1A\x45\xDF\xA3\x01\0\0\0\0\0\0\x1F",
        b"ID3\x03\0\0\0\0\0\0\0\0",
        b"\xFF\xFB\x90\x64xxxxxxxx",
        b"\xFF\xF1\x50\x80xxxxxxxx",
        b"\0\0\0\x08free\0\0\0\x08",
    ];
    for head in heads {
        for rest in [0, 9, 5000] {
            let error = refusal(&[head, &vec![0x55; rest]].concat());
            assert!(
                error.starts_with("take.wav: ") && error.contains("WAV") && !error.contains('\n'),
                "{error}"
            );
        }
    }
}

#[test]
fn what_is_no_wav_file_is_refused_in_one_line() {
    let samples = noise(2, 40);
    let zero_channels = riff(&[format_chunk(PCM, 0, RATE), chunk(b"data", &[0; 80])]);
    let cases = [
        (Vec::new(), "it is empty"),
        (b"dear diary, today".to_vec(), "does not begin as one"),
        (b"RIFF\x04\0\0\0CDDAxxxx".to_vec(), "another kind of RIFF"),
        (b"RIFF\x04\0".to_vec(), "header is damaged"),
        (riff(&[]), "does not say how"),
        (riff(&[format_chunk(PCM, 1, RATE)]), "has no samples"),
        (riff(&[chunk(b"fmt ", &[1, 0, 1])]), "cut short"),
        (zero_channels, "it has 0 channels"),
        (wav(PCM, 9, RATE, &samples), "it has 9 channels"),
        (wav(PCM, 1, 0, &samples), "rate is 0 Hz"),
        (wav(PCM, 1, 7999, &samples), "rate is 7999 Hz"),
        (wav(PCM, 1, 4_000_000, &samples), "rate is 4000000 Hz"),
        (wav(form(2, 4, 1, false), 1, RATE, &samples), "ADPCM"),
        (wav(form(7, 8, 1, false), 1, RATE, &samples), "mu-law"),
        (wav(form(1, 4, 1, false), 1, RATE, &samples), "PCM of 4 bit"),
        (
            wav(form(1, 16, 1, false), 1, RATE, &[]),
            "frames of 1 bytes cannot hold 1 channels of 16 bit",
        ),
        (wav(form(1, 24, 8, false), 1, RATE, &samples), "frames of 8 bytes"),
    ];
    for (bytes, says) in cases {
        let error = refusal(&bytes);
        assert!(
            error.starts_with("take.wav: ") && error.contains(says) && !error.contains('\n'),
            "{error}"
        );
    }
}

#[test]
fn sound_with_something_wrong_is_read_with_a_warning() {
    let warnings = |samples: &[f64]| read_bytes(&wav(PCM, 1, RATE, samples)).unwrap().warnings;
    let clean = noise(1, 44_100);
    assert_eq!(warnings(&clean), Vec::<String>::new());
    let mut clipped = clean.clone();
    clipped[22_050..22_056].fill(1.0);
    clipped[30_000..30_003].fill(-1.0);
    clipped[40_000..40_002].fill(1.0);
    let told = warnings(&clipped);
    assert!(
        told.len() == 1 && told[0].contains("clipped in 2 places, the first at 0:00.5"),
        "{told:?}"
    );
    let offset: Vec<f64> = clean.iter().map(|x| x / 2.0 + 0.1).collect();
    assert!(
        warnings(&offset)[0].contains("constant offset"),
        "{:?}",
        warnings(&offset)
    );
    assert!(warnings(&[0.0; 99])[0].contains("silent throughout"));
    let faint: Vec<f64> = clean.iter().map(|x| x * 1e-4).collect();
    assert!(
        warnings(&faint)[0].contains("nothing audible"),
        "{:?}",
        warnings(&faint)
    );
}

#[test]
fn a_folder_a_missing_file_and_an_empty_one_are_told_apart() {
    let folder = tempfile::tempdir().unwrap();
    let read = |path: &Path| read(path, &AudioOptions::default()).unwrap_err().to_string();
    assert!(read(folder.path()).contains("this is a folder"));
    assert!(read(&folder.path().join("gone.wav")).contains("there is no such file"));
    let empty = folder.path().join("empty.wav");
    fs::write(&empty, []).unwrap();
    assert!(read(&empty).contains("it is empty"));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn random_bytes_never_panic(tail in proptest::collection::vec(any::<u8>(), 0..300), start in 0usize..4) {
        let heads: [&[u8]; 4] = [b"", b"RIFF", b"RIFF\xFF\xFF\0\0WAVE", b"RF64\0\0\0\0WAVEfmt \x10\0\0\0\x01\0\x01\0"];
        let bytes = [heads[start], &tail].concat();
        let _ = read_bytes(&bytes);
    }

    #[test]
    fn a_good_file_with_some_bytes_changed_never_panics(
        which in 0..FORMS.len(),
        changes in proptest::collection::vec((0usize..90, any::<u8>()), 1..6),
        rate in proptest::sample::select(RATES),
    ) {
        let mut bytes = wav(FORMS[which], 2, rate, &noise(1, 600));
        for (at, value) in changes {
            bytes[at] = value;
        }
        if let Ok(recording) = read_bytes(&bytes) {
            let mut out = [0.0; 64];
            recording.read_mono(0, &mut out);
            prop_assert!(out.iter().all(|x| x.is_finite()));
        }
    }
}
