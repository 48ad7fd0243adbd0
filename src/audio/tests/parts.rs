//! Parts of a recording, other chunks, sizes left open.

use super::*;
use crate::units::Seconds;

#[test]
fn a_part_of_a_recording_is_that_part_of_the_whole() {
    let bytes = wav(PCM, 2, RATE, &noise(4, 2 * 44_100));
    let whole = channel(&read_bytes(&bytes).unwrap(), 1);
    let options = AudioOptions {
        from: Some(Seconds(0.25)),
        to: Some(Seconds(0.75)),
    };
    let part = read_part(&bytes, &options).unwrap();
    assert_eq!(part.start, Seconds(0.25));
    let samples = channel(&part, 1);
    assert_eq!(samples.len(), 22_050);
    assert!(
        samples
            .iter()
            .zip(&whole[11_025..])
            .all(|(a, b)| (a - b).abs() < 4e-5)
    );
}

#[test]
fn a_part_that_is_empty_or_outside_is_refused() {
    let bytes = wav(PCM, 1, RATE, &noise(4, 44_100));
    let cases = [
        (Some(1.5), None, "beyond the end"),
        (Some(0.5), Some(0.5), "the end must come after"),
        (Some(0.5), Some(0.2), "the end must come after"),
        (Some(-1.0), None, "0 or later"),
        (Some(f64::NAN), None, "0 or later"),
        (None, Some(f64::NAN), "the end must come after"),
        (None, Some(1e-9), "not one sample"),
    ];
    for (from, to, says) in cases {
        let options = AudioOptions {
            from: from.map(Seconds),
            to: to.map(Seconds),
        };
        let error = read_part(&bytes, &options).unwrap_err().to_string();
        assert!(error.contains(says) && error.contains("lasts 1.00 s"), "{error}");
    }
    let beyond = AudioOptions {
        from: None,
        to: Some(Seconds(99.0)),
    };
    assert_eq!(read_part(&bytes, &beyond).unwrap().len(), 44_100);
}

#[test]
fn chunks_that_are_not_needed_are_stepped_over() {
    let samples = noise(5, 999);
    let plain = read_bytes(&wav(PCM, 1, RATE, &samples)).unwrap();
    let chunks = [
        chunk(b"bext", &[1; 603]),
        chunk(b"JUNK", &[]),
        format_chunk(PCM, 1, RATE),
        chunk(b"LIST", b"INFOISFT\x03\0\0\0abc"),
        chunk(b"data", &data_of(PCM, &samples)),
        chunk(b"id3 ", &[9; 77]),
    ];
    assert_eq!(read_bytes(&riff(&chunks)).unwrap(), plain);
}

#[test]
fn a_data_size_left_open_reads_to_the_end_of_the_file() {
    let samples = noise(6, 1000);
    let whole = wav(PCM, 1, RATE, &samples);
    let plain = read_bytes(&whole).unwrap();
    let at = whole.windows(4).position(|w| w == b"data").unwrap() + 4;
    for size in [0u32, u32::MAX] {
        let mut bytes = whole.clone();
        bytes[at..at + 4].copy_from_slice(&size.to_le_bytes());
        assert_eq!(read_bytes(&bytes).unwrap(), plain, "{size}");
    }
    // The 64-bit form keeps the size elsewhere.
    let mut sizes = [0u8; 28];
    sizes[8..16].copy_from_slice(&2000u64.to_le_bytes());
    let mut long = riff(&[
        chunk(b"ds64", &sizes),
        whole[12..].to_vec(),
        chunk(b"LIST", &[0; 40]),
    ]);
    long[..4].copy_from_slice(b"RF64");
    let at = long.windows(4).position(|w| w == b"data").unwrap() + 4;
    long[at..at + 4].copy_from_slice(&u32::MAX.to_le_bytes());
    assert_eq!(read_bytes(&long).unwrap(), plain);
}

#[test]
fn a_recording_without_a_sample_is_refused() {
    let empty = [
        format_chunk(PCM, 1, RATE),
        chunk(b"data", &[]),
        chunk(b"LIST", b"INFO"),
    ];
    for bytes in [riff(&empty[..2]), riff(&empty)] {
        assert!(refusal(&bytes).contains("no sound at all"));
    }
}
