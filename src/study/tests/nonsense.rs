//! Whatever stands in the files: a study comes back, or one message, and never a panic.

use proptest::prelude::*;

use super::super::cells::{quote, records};
use super::super::sheet::Sheet;
use super::*;

/// Pieces that files are made of, and pieces that break them.
fn piece() -> impl Strategy<Value = String> {
    let known = [
        "time",
        "voice",
        "limb",
        "mark",
        "bar",
        "step",
        "sure",
        "kick",
        "snare 2",
        "RH",
        "rf",
        "ghost",
        "solo",
        "0.5",
        "1,25",
        "-1",
        "1e300",
        "-9e18",
        "9223372036854775807",
        "NaN",
        "inf",
        "1.2.3",
        "\t",
        "\t",
        "\t",
        "\n",
        "\n",
        "\r\n",
        "\"",
        "\"\"",
        "#",
        " ",
        "\u{feff}",
        "\0",
        "\u{fb00}",
        "\u{130}",
    ];
    prop_oneof![9 => prop::sample::select(known.to_vec()).prop_map(str::to_owned), 1 => "\\PC{0,3}"]
}

fn header() -> impl Strategy<Value = String> {
    prop::sample::select(vec![
        "",
        "time\tvoice\n",
        "time\tvoice\tbar\tbeat\tstep\tlimb\tlayer\tmark\tnote\n",
    ])
    .prop_map(str::to_owned)
}

proptest! {
    #[test]
    fn any_text_is_read_or_refused(head in header(), pieces in prop::collection::vec(piece(), 0..60)) {
        let text = head + &pieces.concat();
        let folder = studied();
        fs::write(folder.path().join(HITS), &text).unwrap();
        let readable = Sheet::read(text.as_bytes(), Path::new(HITS), Some(facts().seconds)).is_ok();
        prop_assert_eq!(read(folder.path()).is_ok(), readable);
        prop_assert_eq!(run(folder.path(), &program()).is_ok(), readable);
        if readable {
            let once = super::text(folder.path());
            run(folder.path(), &program()).unwrap();
            prop_assert_eq!(super::text(folder.path()), once, "a second run changes nothing");
        }
    }

    #[test]
    fn any_bytes_are_read_or_refused(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        let _ = Sheet::read(&bytes, Path::new(HITS), None);
    }

    #[test]
    fn any_cell_reads_back_as_it_was_written(cell in prop::collection::vec(piece(), 0..8)) {
        // What reading would trim, and the end of line that a cell with tabs cannot keep.
        let cell = cell.concat().replace("\r\n", "\n").replace('\r', "\n").trim().to_owned();
        prop_assume!(!(cell.contains('\t') && cell.contains('\n')));
        let text = format!("x\t{}\ty\n", quote(&cell));
        let read = records(&text);
        let expected = super::super::cells::Record::Cells { line: 1, cells: vec!["x".into(), cell, "y".into()] };
        prop_assert_eq!(read, [expected]);
    }

    #[test]
    fn a_damaged_document_is_read_or_refused(at in 0usize..10_000, byte in any::<u8>(), cut in any::<bool>()) {
        let folder = tempfile::tempdir().unwrap();
        write(folder.path(), &full_study(), &load(folder.path()).unwrap()).unwrap();
        let file = folder.path().join(STUDY);
        let mut bytes = fs::read(&file).unwrap();
        let at = at % bytes.len();
        bytes[at] = byte;
        if cut {
            bytes.truncate(at);
        }
        fs::write(&file, bytes).unwrap();
        let _ = read(folder.path());
        let _ = run(folder.path(), &program());
        prop_assert!(folder.path().join(HITS).exists());
    }
}
