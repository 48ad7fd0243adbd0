//! Hand lines -> the names of rudiments.
//!
//! The table is the Percussive Arts Society's 40 International Drum Rudiments (1984) \[P\], their stickings \[M\]: each is written as a
//! line of main strokes until the same hand leads again. A capital is a main stroke, lower case before it a grace
//! stroke, `>` an accent, `z` a stroke that bounces many times. Which hand leads and where the line begins makes no
//! other rudiment.

/// One main stroke of a hand line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct HandStroke {
    /// Whether the right hand plays it.
    pub right: bool,
    /// Whether it is accented.
    pub accent: bool,
    /// How many grace strokes come just before it.
    pub grace: u8,
    /// Whether the stick bounces many times.
    pub bounce: bool,
}

/// Names and lines. Where the lead changes only one statement is written, and the other is its mirror.
const TABLE: [(&str, &str, Lead); 40] = [
    ("single stroke roll", "R L", Lead::Stays),
    ("single stroke four", "R L R L", Lead::Stays),
    ("single stroke seven", "R L R L R L R", Lead::Changes),
    ("multiple bounce roll", "Rz Lz", Lead::Stays),
    ("triple stroke roll", "R R R", Lead::Changes),
    ("double stroke open roll", "R R", Lead::Changes),
    ("five stroke roll", "R R L L R>", Lead::Changes),
    ("six stroke roll", "R> L L R R L>", Lead::Stays),
    ("seven stroke roll", "R R L L R R L>", Lead::Stays),
    ("nine stroke roll", "R R L L R R L L R>", Lead::Changes),
    ("ten stroke roll", "R R L L R R L L R> L>", Lead::Stays),
    ("eleven stroke roll", "R R L L R R L L R R L>", Lead::Stays),
    (
        "thirteen stroke roll",
        "R R L L R R L L R R L L R>",
        Lead::Changes,
    ),
    (
        "fifteen stroke roll",
        "R R L L R R L L R R L L R R L>",
        Lead::Stays,
    ),
    (
        "seventeen stroke roll",
        "R R L L R R L L R R L L R R L L R>",
        Lead::Changes,
    ),
    ("single paradiddle", "R> L R R", Lead::Changes),
    ("double paradiddle", "R> L R L R R", Lead::Changes),
    ("triple paradiddle", "R> L R L R L R R", Lead::Changes),
    ("single paradiddle-diddle", "R> L R R L L", Lead::Stays),
    ("flam", "lR", Lead::Changes),
    ("flam accent", "lR> L R", Lead::Changes),
    ("flam tap", "lR> R", Lead::Changes),
    ("flamacue", "lR L> R L lR", Lead::Changes),
    ("flam paradiddle", "lR> L R R", Lead::Changes),
    ("single flammed mill", "lR> R L R", Lead::Changes),
    ("flam paradiddle-diddle", "lR> L R R L L", Lead::Changes),
    ("pataflafla", "lR L R rL", Lead::Stays),
    ("swiss army triplet", "lR R L", Lead::Stays),
    ("inverted flam tap", "lR L", Lead::Changes),
    ("flam drag", "lR> L L R", Lead::Changes),
    ("drag", "llR", Lead::Changes),
    ("single drag tap", "llR L>", Lead::Changes),
    ("double drag tap", "llR llR L>", Lead::Changes),
    ("lesson 25", "llR L R>", Lead::Stays),
    ("single dragadiddle", "R R L R R", Lead::Changes),
    ("drag paradiddle #1", "R> llR L R R", Lead::Changes),
    ("drag paradiddle #2", "R> llR llR L R R", Lead::Changes),
    ("single ratamacue", "llR L R L>", Lead::Changes),
    ("double ratamacue", "llR llR L R L>", Lead::Changes),
    ("triple ratamacue", "llR llR llR L R L>", Lead::Changes),
];

/// Whether the same hand leads the next statement.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Lead {
    Stays,
    Changes,
}

/// A line in writing -> its strokes; anything but strokes as the module's head describes them is left out.
pub fn strokes(text: &str) -> Vec<HandStroke> {
    let mut all: Vec<HandStroke> = Vec::new();
    let mut grace = 0;
    for letter in text.chars() {
        match letter {
            'r' | 'l' => grace += 1,
            'R' | 'L' => {
                all.push(HandStroke {
                    right: letter == 'R',
                    grace,
                    ..HandStroke::default()
                });
                grace = 0;
            }
            '>' => all
                .iter_mut()
                .next_back()
                .into_iter()
                .for_each(|stroke| stroke.accent = true),
            'z' => all
                .iter_mut()
                .next_back()
                .into_iter()
                .for_each(|stroke| stroke.bounce = true),
            _ => {}
        }
    }
    all
}

fn mirror(line: &[HandStroke]) -> Vec<HandStroke> {
    let other = |stroke: &HandStroke| HandStroke {
        right: !stroke.right,
        ..*stroke
    };
    line.iter().map(other).collect()
}

/// The shortest line of which this one is whole repeats and perhaps a part.
fn period(line: &[HandStroke]) -> &[HandStroke] {
    let repeats = |length: &usize| line.iter().zip(line.iter().skip(*length)).all(|(a, b)| a == b);
    let length = (1..line.len()).find(repeats).unwrap_or(line.len());
    line.get(..length).unwrap_or(line)
}

/// The shortest cell of which this one is whole repeats.
fn primitive(cell: &[HandStroke]) -> &[HandStroke] {
    let part = period(cell);
    if part.is_empty() || !cell.len().is_multiple_of(part.len()) {
        cell
    } else {
        part
    }
}

/// One line for all its rotations and both leads.
fn class(line: &[HandStroke]) -> Vec<HandStroke> {
    let turned = |side: Vec<HandStroke>| {
        (0..side.len()).map(move |by| {
            let mut turned = side.clone();
            turned.rotate_left(by);
            turned
        })
    };
    turned(line.to_vec())
        .chain(turned(mirror(line)))
        .min()
        .unwrap_or_default()
}

fn plain(line: &[HandStroke]) -> Vec<HandStroke> {
    let no_accent = |stroke: &HandStroke| HandStroke {
        accent: false,
        ..*stroke
    };
    line.iter().map(no_accent).collect()
}

/// The rudiments, each with its line until the same hand leads again.
pub fn all() -> Vec<(&'static str, Vec<HandStroke>)> {
    let whole = |(name, text, lead): &(&'static str, &str, Lead)| {
        let mut line = strokes(text);
        if *lead == Lead::Changes {
            line.extend(mirror(&line));
        }
        (*name, line)
    };
    TABLE.iter().map(whole).collect()
}

/// The names of a cell that is played over and over: of every rudiment that it is, whichever hand leads and wherever
/// it begins. A cell without any accent is compared without accents, and may have several names.
pub fn name_cell(cell: &[HandStroke]) -> Vec<&'static str> {
    let accents = cell.iter().any(|stroke| stroke.accent);
    let seen = |line: &[HandStroke]| {
        let line = if accents { line.to_vec() } else { plain(line) };
        class(primitive(&line))
    };
    if cell.is_empty() {
        return Vec::new();
    }
    let wanted = seen(cell);
    let same = all().into_iter().filter(|(_, line)| seen(line) == wanted);
    same.map(|(name, _)| name).collect()
}

/// The names of a hand line that states something at least twice; none where it repeats nothing.
pub fn name_line(line: &[HandStroke]) -> Vec<&'static str> {
    let cell = period(line);
    if 2 * cell.len() > line.len() {
        Vec::new()
    } else {
        name_cell(cell)
    }
}

#[cfg(test)]
#[allow(clippy::print_stdout, reason = "tells how many random lines were named")]
mod tests {
    use std::collections::BTreeMap;

    use rand::prelude::*;
    use rand_chacha::ChaCha8Rng;

    use super::*;

    /// Strokes until the same hand leads again, as the list in the trade notes gives them [P, stickings M].
    const PERIODS: [usize; 40] = [
        2, 4, 14, 2, 6, 4, 10, 6, 7, 18, 10, 11, 26, 15, 34, 8, 12, 16, 6, 2, 6, 4, 10, 8, 8, 12, 4, 3, 4, 8,
        2, 4, 6, 3, 10, 10, 12, 8, 10, 12,
    ];

    /// At least two statements and at least sixteen strokes, begun anywhere.
    fn played(line: &[HandStroke], from: usize) -> Vec<HandStroke> {
        let strokes = (2 * line.len()).max(16);
        line.iter().copied().cycle().skip(from).take(strokes).collect()
    }

    #[test]
    fn each_line_is_as_long_as_the_list_says() {
        for ((name, line), period) in all().iter().zip(PERIODS) {
            assert_eq!(line.len(), period, "{name}");
        }
    }

    #[test]
    fn every_rudiment_is_named_begun_anywhere_and_with_either_lead() {
        for (name, line) in all() {
            for side in [line.clone(), mirror(&line)] {
                for from in 0..side.len() {
                    let names = name_line(&played(&side, from));
                    assert!(names.contains(&name), "{name} from {from}: {names:?}");
                }
            }
        }
    }

    #[test]
    fn with_their_accents_only_those_that_are_one_line_share_their_names() {
        let mut shared: Vec<Vec<&str>> = all().iter().map(|(_, line)| name_cell(line)).collect();
        shared.retain(|names| names.len() > 1);
        shared.dedup();
        // A dragadiddle has no accent in the list, and without its rhythm it is a five stroke roll begun elsewhere [=].
        let single = vec!["single stroke roll", "single stroke four", "single stroke seven"];
        assert_eq!(shared, [single, vec!["five stroke roll", "single dragadiddle"]]);
    }

    #[test]
    fn without_accents_those_that_are_one_line_are_named_together() {
        let mut groups: BTreeMap<Vec<HandStroke>, Vec<&str>> = BTreeMap::new();
        for (name, line) in all() {
            groups
                .entry(class(primitive(&plain(&line))))
                .or_default()
                .push(name);
        }
        let mut together: Vec<Vec<&str>> = groups.into_values().filter(|names| names.len() > 1).collect();
        together.sort();
        let six = vec!["six stroke roll", "single paradiddle-diddle"];
        let single = vec!["single stroke roll", "single stroke four", "single stroke seven"];
        let five = vec!["five stroke roll", "single dragadiddle"];
        assert_eq!(together, [five, single.clone(), six.clone()]);
        assert_eq!(name_cell(&strokes("R L R R L L")), six);
        assert_eq!(name_cell(&strokes("L R L R")), single);
        assert_eq!(
            name_cell(&strokes("R L L R")),
            ["double stroke open roll"],
            "its ends are alike"
        );
    }

    #[test]
    fn few_random_lines_of_the_same_length_are_named() {
        let mut random = ChaCha8Rng::seed_from_u64(40);
        let (mut named, mut tried, mut bare) = (0, 0, 0);
        for (_, line) in all() {
            let share = |of: &dyn Fn(&HandStroke) -> bool| {
                line.iter().filter(|stroke| of(stroke)).count() as f64 / line.len() as f64
            };
            let (accents, graces) = (share(&|s| s.accent), share(&|s| s.grace > 0));
            for _ in 0..500 {
                let mut stroke = || HandStroke {
                    right: random.random_bool(0.5),
                    accent: random.random_bool(accents),
                    grace: u8::from(random.random_bool(graces)),
                    bounce: false,
                };
                let line: Vec<HandStroke> = (0..played(&line, 0).len()).map(|_| stroke()).collect();
                tried += 1;
                named += usize::from(!name_line(&line).is_empty());
                bare += usize::from(!name_line(&plain(&line)).is_empty());
            }
        }
        println!("seed 40: {named} of {tried} random lines are named, {bare} without their accents");
        assert!(
            named * 50 <= tried && bare * 50 <= tried,
            "seed 40: {named}, {bare} of {tried}"
        );
    }

    #[test]
    fn nothing_is_no_rudiment() {
        assert!(name_cell(&[]).is_empty() && name_line(&[]).is_empty());
        assert!(
            name_line(&strokes("R L R R")).is_empty(),
            "one statement repeats nothing"
        );
    }
}
