//! Input that is hard to bear: each is studied as far as it goes, or refused in one line with nothing written.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::Command as Process;

use crate::desk::{DEMO, RATE, copy, demo, files, overbar, place, recording, write_wav};

/// What the program said when it refused, in one line, having printed and written nothing.
pub(crate) fn refused<A: AsRef<std::ffi::OsStr>>(folder: &Path, args: &[A]) -> String {
    let before = snapshot(folder);
    let done = overbar().args(args).current_dir(folder).assert().code(1);
    let output = done.get_output();
    let error = String::from_utf8(output.stderr.clone()).unwrap();
    assert!(
        error.starts_with("error: ") && output.stdout.is_empty(),
        "{error}"
    );
    assert_eq!(error.lines().count(), 1, "{error}");
    for slip in ["panicked", "Os {", "Error(", "RUST_BACKTRACE"] {
        assert!(!error.contains(slip), "{error}");
    }
    assert!(
        snapshot(folder) == before,
        "something was written or lost: {error}"
    );
    let words: Vec<_> = args.iter().map(|arg| arg.as_ref().to_string_lossy()).collect();
    note(&words.join(" "), &error, 1);
    error
}

/// Adds what was said of an input to the table that `OVERBAR_TABLE` names, if it names one.
fn note(input: &str, said: &str, status: i32) {
    let Some(table) = std::env::var_os("OVERBAR_TABLE") else {
        return;
    };
    let cell = |text: &str| {
        text.trim()
            .escape_debug()
            .to_string()
            .replace('|', "\\|")
            .replace("\\'", "'")
    };
    let row = format!("| `{}` | {} | {status} |\n", cell(input), cell(said));
    let mut file = fs::OpenOptions::new()
        .create(true)
        .append(true)
        .open(table)
        .unwrap();
    file.write_all(row.as_bytes()).unwrap();
}

/// Every file of a folder that can be read, with its bytes.
fn snapshot(folder: &Path) -> Vec<(PathBuf, Option<Vec<u8>>)> {
    let read = |name: PathBuf| {
        let path = folder.join(&name);
        let plain = fs::metadata(&path).is_ok_and(|facts| facts.is_file() && facts.len() < 1 << 24);
        (name, plain.then(|| fs::read(path).unwrap()))
    };
    files(folder).into_iter().map(read).collect()
}

/// What the program said of a study that it made.
fn studied(folder: &Path, name: &str) -> String {
    let args = ["study", name, "--out", "study"];
    let done = overbar().args(args).current_dir(folder).assert().success();
    let said = String::from_utf8(done.get_output().stdout.clone()).unwrap();
    let lines: Vec<&str> = said
        .lines()
        .filter(|l| l.starts_with("mind") || l.starts_with("hits"))
        .collect();
    note(name, &lines.join("; "), 0);
    said
}

/// A WAV file of 32-bit float samples.
fn floats(channels: u16, rate: u32, samples: impl IntoIterator<Item = f32>) -> Vec<u8> {
    let data: Vec<u8> = samples.into_iter().flat_map(f32::to_le_bytes).collect();
    let mut bytes = b"RIFF".to_vec();
    bytes.extend((data.len() as u32 + 36).to_le_bytes());
    bytes.extend(b"WAVEfmt \x10\0\0\0\x03\0");
    bytes.extend(channels.to_le_bytes());
    bytes.extend(rate.to_le_bytes());
    bytes.extend(rate.wrapping_mul(4 * u32::from(channels)).to_le_bytes());
    bytes.extend((4 * channels).to_le_bytes());
    bytes.extend(b"\x20\0data");
    bytes.extend((data.len() as u32).to_le_bytes());
    bytes.extend(data);
    bytes
}

/// A stroke every quarter of a second.
fn strokes(rate: u32, seconds: u32) -> impl Iterator<Item = f32> {
    (0..rate * seconds).map(move |i| {
        let t = f64::from(i % (rate / 4)) / f64::from(rate);
        (0.7 * (-t / 0.02).exp() * (1500.0 * t).sin()) as f32
    })
}

/// A box of an MP4 file.
fn mp4_box(name: &[u8; 4], content: &[u8]) -> Vec<u8> {
    let size = (content.len() as u32 + 8).to_be_bytes();
    [&size, &name[..], content].concat()
}

/// An MP4 file in fragments, of a few kilobytes, whose only run claims so many pieces of sound.
fn claiming(pieces: u32) -> Vec<u8> {
    let plain = fs::read(place("tests/fixtures/formats/plain.m4a")).unwrap();
    let words = |words: &[u32]| -> Vec<u8> { words.iter().flat_map(|w| w.to_be_bytes()).collect() };
    let mut boxes = Vec::new();
    let mut rest = plain.as_slice();
    while let Some(size) = rest.first_chunk::<4>() {
        let (one, others) = rest.split_at(u32::from_be_bytes(*size) as usize);
        boxes.push(one);
        rest = others;
    }
    let named = |name: &[u8]| *boxes.iter().find(|b| &b[4..8] == name).unwrap();
    let mut film = named(b"moov")[8..].to_vec();
    // The sound of a film in fragments is not listed in its head.
    for (table, count) in [(b"stts", 8), (b"stsc", 8), (b"stco", 8), (b"stsz", 12)] {
        let at = film.windows(4).position(|w| w == table).unwrap() + count;
        film[at..at + 4].fill(0);
    }
    film.extend(mp4_box(b"mvex", &mp4_box(b"trex", &words(&[0, 1, 1, 1, 1, 0]))));
    let run = [
        mp4_box(b"tfhd", &words(&[0x2_0000, 1])),
        mp4_box(b"trun", &words(&[0, pieces])),
    ];
    let fragment = [mp4_box(b"mfhd", &words(&[0, 1])), mp4_box(b"traf", &run.concat())];
    [
        named(b"ftyp").to_vec(),
        mp4_box(b"moov", &film),
        mp4_box(b"moof", &fragment.concat()),
        named(b"mdat").to_vec(),
    ]
    .concat()
}

#[test]
fn recordings_that_hold_no_sound_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    let wav = floats(1, RATE, strokes(RATE, 2));
    let with = |at: usize, value: f32| {
        let mut bytes = wav.clone();
        bytes[44 + 4 * at..48 + 4 * at].copy_from_slice(&value.to_le_bytes());
        bytes
    };
    let cases: [(&str, Vec<u8>, &str); 19] = [
        ("empty.wav", Vec::new(), "it is empty"),
        (
            "boasting.m4a",
            claiming(0x9000_0000),
            "claims 2415919104 pieces of sound",
        ),
        ("header cut.wav", wav[..30].to_vec(), "header is damaged"),
        ("no data.wav", wav[..44].to_vec(), "no sound at all"),
        ("zero length.wav", floats(1, RATE, []), "no sound at all"),
        ("no channels.wav", floats(0, RATE, strokes(RATE, 1)), "0 channels"),
        (
            "many channels.wav",
            floats(99, RATE, strokes(RATE, 1)),
            "99 channels",
        ),
        ("rate 0.wav", floats(1, 0, strokes(RATE, 1)), "rate is 0 Hz"),
        (
            "rate of millions.wav",
            floats(1, 4_000_000, strokes(RATE, 1)),
            "4000000 Hz",
        ),
        (
            "not a number.wav",
            with(11_025, f32::NAN),
            "at 0.25000 s is not a number",
        ),
        ("infinite.wav", with(22_050, f32::INFINITY), "at 0.50000 s is inf"),
        (
            "text.wav",
            b"Dear diary, today I hit a drum.".repeat(40),
            "no sound file",
        ),
        (
            "wide text.wav",
            b"\xFF\xFED\0e\0a\0r\0 \0d\0i\0a\0r\0y\0".repeat(40),
            "no sound file",
        ),
        (
            "picture.wav",
            b"\x89PNG\r\n\x1A\n\0\0\0\x0DIHDR".repeat(9),
            "a picture",
        ),
        (
            "photo.mp3",
            b"\xFF\xD8\xFF\xE0\0\x10JFIF\0\x01".repeat(9),
            "a picture",
        ),
        ("only begun.flac", b"fLaC\0\0\0\x22".to_vec(), "cannot be read"),
        (
            "lying.m4a",
            b"\0\0\0\x18ftypM4A \0\0\0\0M4A isom\xFF\xFF\xFF\xF0moov".to_vec(),
            "cannot be read",
        ),
        (
            "score.wav",
            b"MThd\0\0\0\x06\0\0\0\0\0\x60".to_vec(),
            "a MIDI file",
        ),
        (
            "coded.ogg",
            fs::read(place("tests/fixtures/formats/opus.ogg")).unwrap(),
            "Opus",
        ),
    ];
    for (name, bytes, says) in cases {
        fs::write(folder.path().join(name), bytes).unwrap();
        let error = refused(folder.path(), &["study", name]);
        assert!(error.contains(name) && error.contains(says), "{error}");
    }
}

#[test]
#[cfg(unix)]
fn what_is_no_file_is_refused_without_waiting_for_it() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name);
    fs::create_dir(path("folder.wav")).unwrap();
    std::os::unix::fs::symlink("loop.wav", path("loop.wav")).unwrap();
    assert!(
        Process::new("mkfifo")
            .arg(path("pipe.wav"))
            .status()
            .unwrap()
            .success()
    );
    let cases = [
        ("missing.wav", "no such file"),
        ("folder.wav", "a folder"),
        ("loop.wav", "symbolic links"),
        ("pipe.wav", "a device or a pipe"),
        ("/dev/zero", "a device or a pipe"),
    ];
    for (name, says) in cases {
        let error = refused(folder.path(), &["study", name]);
        assert!(error.contains(name) && error.contains(says), "{error}");
    }
    let study = demo().to_str().unwrap();
    for (args, says) in [
        (vec!["study", "any.wav", "--beats", "pipe.wav"], "a pipe"),
        (vec!["study", "any.wav", "--kit", "pipe.wav"], "a pipe"),
        (vec!["study", "any.wav", "--kit", "folder.wav"], "a folder"),
        (vec!["verify", study, "--score", "pipe.wav"], "a pipe"),
        (vec!["verify", study, "--score", "folder.wav"], "a folder"),
        (vec!["verify", study, "--score", "/dev/zero"], "a pipe"),
        (vec!["take", study, "pipe.wav"], "a pipe"),
        (vec!["chart", "loop.wav"], "symbolic links"),
    ] {
        let error = refused(folder.path(), &args);
        assert!(error.contains(says), "{args:?}: {error}");
    }
}

#[test]
#[cfg(unix)]
fn a_file_that_may_not_be_read_is_refused() {
    use std::os::unix::fs::PermissionsExt;
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("secret.wav");
    fs::write(&path, floats(1, RATE, strokes(RATE, 1))).unwrap();
    fs::set_permissions(&path, fs::Permissions::from_mode(0o000)).unwrap();
    // The superuser may read everything.
    if fs::File::open(&path).is_err() {
        assert!(refused(folder.path(), &["study", "secret.wav"]).contains("not permitted"));
    }
}

#[test]
fn unusual_recordings_are_studied_with_a_warning_where_it_matters() {
    let folder = tempfile::tempdir().unwrap();
    let twice = |samples: Vec<f32>, gain: f32| samples.into_iter().map(move |x| (x * gain).clamp(-1.0, 1.0));
    let plain: Vec<f32> = strokes(RATE, 3).collect();
    let eight = strokes(RATE, 3).flat_map(|x| std::iter::repeat_n(x, 8));
    let mut lying = floats(1, RATE, plain.iter().copied());
    lying[40..44].copy_from_slice(&0x7FFF_FF00u32.to_le_bytes());
    let whole = floats(1, RATE, plain.iter().copied());
    let cases: [(&str, Vec<u8>, &str); 9] = [
        (
            "silence.wav",
            floats(1, RATE, vec![0.0; 3 * RATE as usize]),
            "silent throughout",
        ),
        ("eight channels.wav", floats(8, RATE, eight), "8 channels"),
        ("8 kHz.wav", floats(1, 8000, strokes(8000, 3)), "8 kHz mono"),
        (
            "192 kHz.wav",
            floats(1, 192_000, strokes(192_000, 3)),
            "192 kHz mono",
        ),
        (
            "clipped.wav",
            floats(1, RATE, twice(plain.clone(), 9.0)),
            "clipped",
        ),
        (
            "offset.wav",
            floats(1, RATE, plain.iter().map(|x| x * 0.5 + 0.2)),
            "constant offset",
        ),
        ("lying.wav", lying, "cut short"),
        ("data cut.wav", whole[..whole.len() / 2].to_vec(), "cut short"),
        ("one sample.wav", floats(1, RATE, [0.5]), "hits      0"),
    ];
    for (name, bytes, says) in cases {
        fs::write(folder.path().join(name), bytes).unwrap();
        let said = studied(folder.path(), name);
        assert!(said.contains(says), "{name}: {said}");
        if name == "silence.wav" {
            assert!(said.contains("hits      0"), "{said}");
        } else if name != "one sample.wav" {
            let hits = said.lines().find(|line| line.starts_with("hits")).unwrap();
            let hits: usize = hits
                .split_whitespace()
                .nth(1)
                .unwrap()
                .trim_matches(':')
                .parse()
                .unwrap();
            assert!((5..40).contains(&hits), "{name}: {said}");
        }
        fs::remove_dir_all(folder.path().join("study")).unwrap();
    }
}

#[test]
fn a_file_is_what_its_bytes_say_whatever_its_name_ends_in() {
    let folder = tempfile::tempdir().unwrap();
    for (fixture, name) in [
        ("constant.mp3", "a.wav"),
        ("plain.flac", "b.mp3"),
        ("film.mp4", "c"),
        ("plain.ogg", "d.flac"),
        ("plain.aiff", "e.txt"),
    ] {
        fs::copy(
            place("tests/fixtures/formats").join(fixture),
            folder.path().join(name),
        )
        .unwrap();
        let said = studied(folder.path(), name);
        assert!(said.contains(&format!("recording {name}, 0:01.")), "{said}");
        fs::remove_dir_all(folder.path().join("study")).unwrap();
    }
}

#[test]
#[cfg(unix)]
fn names_of_any_bytes_are_borne() {
    use std::ffi::OsStr;
    use std::os::unix::ffi::OsStrExt;
    let folder = tempfile::tempdir().unwrap();
    let names: [&[u8]; 6] = [
        b"with spaces",
        b"with \"both' quotes",
        b"with\na new line\tand more",
        b"no utf\xFF\xFE8",
        b"-leading dash",
        b"\x1B[31mred",
    ];
    for name in names {
        let good = folder.path().join(OsStr::from_bytes(&[name, b".wav"].concat()));
        fs::write(&good, floats(1, RATE, strokes(RATE, 2))).unwrap();
        let args: [&OsStr; 2] = ["study".as_ref(), good.as_os_str()];
        let done = overbar().args(args).current_dir(folder.path()).assert().success();
        let said = String::from_utf8(done.get_output().stdout.clone()).unwrap();
        assert!(said.lines().count() < 20 && !said.contains('\u{1b}'), "{said}");
        let made = folder.path().join("output").join(OsStr::from_bytes(name));
        assert!(made.join("hits.tsv").exists(), "{}", made.display());
        let bad = folder.path().join(OsStr::from_bytes(&[name, b".bad"].concat()));
        fs::write(&bad, "no sound").unwrap();
        refused(folder.path(), &["study".as_ref(), bad.as_os_str()]);
    }
}

#[test]
fn places_that_cannot_be_written_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    let song = recording(DEMO);
    let song = song.to_str().unwrap();
    fs::write(folder.path().join("file"), "mine").unwrap();
    fs::create_dir(folder.path().join("mine")).unwrap();
    fs::write(folder.path().join("mine/tax.ods"), "mine").unwrap();
    for (out, says) in [
        ("file", "is a file"),
        ("file/below", "file: is a file"),
        ("mine", "holds other files"),
        ("/proc/overbar", "cannot"),
    ] {
        let error = refused(folder.path(), &["study", song, "--out", out]);
        assert!(error.contains(says), "{error}");
    }
}

/// A study with an edit, and its recording.
fn edited(folder: &Path) -> PathBuf {
    let song = folder.join("take.wav");
    write_wav(&song, strokes(RATE, 3).map(f64::from));
    studied(folder, "take.wav");
    let hits = folder.join("study/hits.tsv");
    let text = fs::read_to_string(&hits).unwrap();
    fs::write(&hits, text + "2.8\tchina\n").unwrap();
    song
}

#[test]
#[cfg(unix)]
fn a_disk_that_is_full_costs_nothing_that_was_there() {
    let folder = tempfile::tempdir().unwrap();
    edited(folder.path());
    let before = snapshot(folder.path());
    let program = env!("CARGO_BIN_EXE_overbar");
    // Files may grow to so many blocks of 1024 bytes; beyond, writing fails as on a full disk.
    for room in [0, 1, 2] {
        let limited = format!("trap '' XFSZ; ulimit -f {room}; exec \"$0\" study take.wav --out study");
        let done = Process::new("bash")
            .args(["-c", &limited, program])
            .current_dir(folder.path())
            .output()
            .unwrap();
        let error = String::from_utf8(done.stderr).unwrap();
        assert_eq!(done.status.code(), Some(1), "{error}");
        assert!(
            error.contains("cannot write") && error.lines().count() == 1,
            "{error}"
        );
        assert!(snapshot(folder.path()) == before, "room {room}: {error}");
    }
    let said = studied(folder.path(), "take.wav");
    assert!(said.contains("1 row added"), "{said}");
}

/// Says, past the capture of a test's output, that a small disk could not be made here.
fn untried(why: &str) {
    let told = format!(
        "not tried here: a small disk that is really full ({why}); files that may not grow stand in for it\n"
    );
    std::io::stderr().write_all(told.as_bytes()).unwrap();
}

/// The same on a file system that is really full, where the system lets a test make one; elsewhere it says so.
#[test]
#[cfg(target_os = "linux")]
fn a_small_disk_that_is_full_costs_nothing_that_was_there() {
    let folder = tempfile::tempdir().unwrap();
    let song = folder.path().join("take.wav");
    write_wav(&song, strokes(RATE, 3).map(f64::from));
    fs::create_dir(folder.path().join("disk")).unwrap();
    let script = r##"
        mount -t tmpfs -o size=8m none disk || exit 77
        "$0" study take.wav --out disk/study --quiet || exit 3
        printf '2.8\tchina\n' >> disk/study/hits.tsv
        cp -r disk/study before
        head -c 20000000 /dev/zero > disk/fill 2>/dev/null
        "$0" study take.wav --out disk/study && exit 4
        diff -r before disk/study || exit 5
        rm disk/fill
        "$0" study take.wav --out disk/study | grep '1 row added' || exit 6
    "##;
    let done = Process::new("unshare")
        .args([
            "--mount",
            "--map-root-user",
            "bash",
            "-c",
            script,
            env!("CARGO_BIN_EXE_overbar"),
        ])
        .current_dir(folder.path())
        .output();
    let Ok(done) = done else {
        return untried("there is no unshare");
    };
    let said = String::from_utf8_lossy(&done.stderr).into_owned();
    match done.status.code() {
        Some(77 | 1) if !said.contains("disk is full") => untried(said.trim()),
        code => {
            assert_eq!(code, Some(0), "{said} {}", String::from_utf8_lossy(&done.stdout));
            assert!(said.contains("the disk is full"), "{said}");
        }
    }
}

#[test]
fn nonsense_in_any_cell_of_the_hits_is_refused_by_line_or_harmless() {
    let folder = tempfile::tempdir().unwrap();
    edited(folder.path());
    studied(folder.path(), "take.wav");
    let hits = folder.path().join("study/hits.tsv");
    let good = fs::read_to_string(&hits).unwrap();
    let lines: Vec<&str> = good.lines().collect();
    let header = lines.iter().position(|line| line.starts_with("time\t")).unwrap();
    let columns = lines[header].split('\t').count();
    let nonsense = [
        "",
        "x",
        "-1",
        "1e999",
        "NaN",
        "-9223372036854775809",
        "\u{202e}é",
        "\"",
        "0x10",
        "1;2",
        "99999999",
    ];
    let (mut taken, mut told) = (0, 0);
    for column in 0..columns {
        for bad in nonsense {
            let mut cells: Vec<&str> = lines[header + 2].split('\t').collect();
            cells[column] = bad;
            let row = cells.join("\t");
            let mut text = lines.clone();
            text[header + 2] = &row;
            let text = text.join("\n") + "\n";
            fs::write(&hits, &text).unwrap();
            let done = overbar()
                .args(["study", "take.wav", "--out", "study", "--fast"])
                .current_dir(folder.path())
                .output()
                .unwrap();
            let error = String::from_utf8(done.stderr).unwrap();
            match done.status.code() {
                Some(0) => taken += 1,
                Some(1) => {
                    told += 1;
                    let place = format!("hits.tsv, line {}, ", header + 3);
                    // An open quote swallows the rest of the file, and the line says where it begins.
                    assert!(error.contains(&place) || bad == "\"", "{column} {bad:?}: {error}");
                    assert_eq!(fs::read_to_string(&hits).unwrap(), text, "{column} {bad:?}");
                }
                other => panic!("{column} {bad:?}: {other:?} {error}"),
            }
        }
    }
    assert!(taken > 20 && told > 40, "{taken} {told}");
}

#[test]
fn a_study_that_is_newer_cut_or_foreign_is_refused_or_made_anew_with_nothing_lost() {
    let folder = tempfile::tempdir().unwrap();
    edited(folder.path());
    studied(folder.path(), "take.wav");
    let file = folder.path().join("study/study.json");
    let good = fs::read_to_string(&file).unwrap();
    let deep = "[".repeat(200_000);
    let cases = [
        (
            good.replace("\"version\": 1", "\"version\": 2"),
            "version 2",
            false,
        ),
        (good.replace("overbar-study", "setlist"), "its format is", false),
        (good[..good.len() / 2].to_owned(), "made anew", true),
        (String::new(), "made anew", true),
        (deep, "made anew", true),
    ];
    for (text, says, anew) in cases {
        fs::write(&file, &text).unwrap();
        for args in [&["chart", "study"][..], &["verify", "study", "--length", "4"]] {
            assert!(refused(folder.path(), args).contains(says), "{args:?}");
        }
        if anew {
            let said = studied(folder.path(), "take.wav");
            assert!(
                said.contains("could not be read") && said.contains("copied"),
                "{said}"
            );
            assert!(
                fs::read_to_string(folder.path().join("study/hits.tsv"))
                    .unwrap()
                    .contains("china")
            );
        } else {
            assert!(refused(folder.path(), &["study", "take.wav", "--out", "study"]).contains(says));
        }
    }
}

#[test]
fn scores_that_are_broken_huge_or_bombs_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    let study = folder.path().join("study");
    copy(demo(), &study);
    let entities: String = (1..20)
        .map(|n| format!("<!ENTITY e{n} \"{}\">", format!("&e{};", n - 1).repeat(10)))
        .collect();
    let bomb = format!(
        "<?xml version=\"1.0\"?><!DOCTYPE x [<!ENTITY e0 \"ha\">{entities}]><score-partwise><part id=\"P\">&e19;</part></score-partwise>"
    );
    let inside = |xml: &str| {
        format!(
            "<score-partwise><part id=\"P\"><measure number=\"1\">{xml}</measure></part></score-partwise>"
        )
    };
    let track = |body: &[u8], said: u32| {
        [
            b"MThd\0\0\0\x06\0\0\0\x01\0\x60MTrk",
            &said.to_be_bytes()[..],
            body,
        ]
        .concat()
    };
    let cases: [(&str, Vec<u8>, &str); 13] = [
        ("empty.mid", Vec::new(), "neither MIDI nor MusicXML"),
        ("text.mid", b"la la la".to_vec(), "neither MIDI nor MusicXML"),
        ("cut.mid", b"MThd\0\0\0\x06\0".to_vec(), "broken MIDI"),
        (
            "endless.mid",
            track(&b"\xFF\xFF\xFF\x7F\x99\x24\0".repeat(9), 63),
            "no drum notes",
        ),
        (
            "frames.mid",
            b"MThd\0\0\0\x06\0\0\0\x01\xE7\x28".to_vec(),
            "frames",
        ),
        (
            "no length.mid",
            b"MThd\0\0\0\x06\0\0\0\x01\0\0".to_vec(),
            "no length",
        ),
        ("packed.mxl", b"PK\x03\x04".to_vec(), "compressed"),
        ("bomb.musicxml", bomb.into_bytes(), "musicxml"),
        (
            "deep.musicxml",
            "<score-partwise>".repeat(100_000).into_bytes(),
            "musicxml",
        ),
        (
            "cut.musicxml",
            b"<score-partwise><part id=\"P\">".to_vec(),
            "stops in the middle",
        ),
        (
            "foreign.musicxml",
            b"<html><p>hello</p></html>".to_vec(),
            "not score-partwise",
        ),
        (
            "nonsense.musicxml",
            inside("<note><duration>1e999</duration></note>").into_bytes(),
            "no number",
        ),
        (
            "latin.musicxml",
            b"<score-partwise>\xE9</score-partwise>".to_vec(),
            "neither MIDI nor MusicXML",
        ),
    ];
    for (name, bytes, says) in cases {
        fs::write(folder.path().join(name), bytes).unwrap();
        let error = refused(folder.path(), &["verify", "study", "--score", name]);
        assert!(error.contains(name) && error.contains(says), "{error}");
    }
    let huge = fs::File::create(folder.path().join("huge.mid")).unwrap();
    huge.set_len(1 << 32).unwrap();
    let error = refused(folder.path(), &["verify", "study", "--score", "huge.mid"]);
    assert!(error.contains("larger than 64 MB"), "{error}");
}
