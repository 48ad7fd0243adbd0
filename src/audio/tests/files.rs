//! Files on disk, written and read back.

use std::fs;

use super::*;
use crate::units::Seconds;

#[test]
fn a_written_file_reads_back_with_its_facts() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("brush study.wav");
    let channels: Vec<Vec<f32>> = [1, 2]
        .map(|seed| noise(seed, 4410).iter().map(|x| *x as f32).collect())
        .into();
    write_wav(&path, &channels, 22_050).unwrap();
    write_wav(&path, &channels, RATE).unwrap();
    let recording = read(&path, &AudioOptions::default()).unwrap();
    let names: Vec<_> = fs::read_dir(folder.path())
        .unwrap()
        .map(|e| e.unwrap().file_name())
        .collect();
    assert_eq!(names, ["brush study.wav"]);
    let source = &recording.source;
    assert_eq!(
        (source.file.as_str(), source.sample_rate, source.channels),
        ("brush study.wav", RATE, 2)
    );
    assert_eq!((source.seconds, source.sha256.len()), (Seconds(0.1), 64));
    for (c, written) in channels.iter().enumerate() {
        assert!(
            channel(&recording, c)
                .iter()
                .zip(written)
                .all(|(a, b)| (a - b).abs() < 4e-5)
        );
    }
}

#[test]
fn a_file_that_cannot_be_written_is_refused_and_leaves_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let error = write_wav(&folder.path().join("no/where.wav"), &[vec![0.0]], RATE)
        .unwrap_err()
        .to_string();
    assert!(
        error.contains("cannot be written") && error.contains("check the folder"),
        "{error}"
    );
    assert!(write_wav(&folder.path().join("none.wav"), &[], RATE).is_err());
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0);
}

#[test]
fn the_digest_is_sha_256() {
    // [P] FIPS 180-2, appendix B.1.
    let hex = super::read::digest(&mut Cursor::new(b"abc")).unwrap();
    assert_eq!(
        hex,
        "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    );
}
