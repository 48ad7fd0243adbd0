//! What the PDF holds; other programs open it in the outside checks.

use super::*;
use crate::charts::sample::{self, TEN_OVER_SIXTEEN};
use crate::notation::score::Score;
use crate::notation::staff;
use crate::options::ScoreOptions;

fn drawn(path: &str) -> String {
    let mut content = Content::new();
    path::trace(&mut content, path);
    String::from_utf8(content.finish().to_vec())
        .unwrap()
        .replace('\n', " ")
}

#[test]
fn paths_are_drawn_as_they_are_written() {
    assert_eq!(drawn("M10 -5 20 5V7h-3z"), "10 -5 m 20 5 l 20 7 l 17 7 l h");
    assert_eq!(drawn("M1 2c1 0-2 3 4 5"), "1 2 m 2 2 -1 5 5 7 c");
    for odd in ["", "M", "M1", "Q1 2 3 4", "Mé", "M1 2 L x"] {
        drawn(odd);
    }
}

#[test]
fn every_staff_page_is_a_page_and_the_bytes_are_the_same_each_time() {
    let study = sample::study(&TEN_OVER_SIXTEEN);
    let options = ScoreOptions::default();
    let pages = staff::draw(&study, &Score::of(&study, options.layout), &options);
    let svgs: Vec<&str> = pages.iter().map(|page| page.svg.as_str()).collect();
    let bytes = write(&svgs);
    assert_eq!(bytes, write(&svgs));
    let text = String::from_utf8_lossy(&bytes);
    assert!(text.starts_with("%PDF-1.7") && text.contains("/Type /Page\n"));
    assert_eq!(text.matches("/Type /Page\n").count(), pages.len());
}

#[test]
fn letters_beyond_the_encoding_become_question_marks() {
    assert_eq!(win_ansi("é…漢"), [0xe9, 0x85, b'?']);
}
