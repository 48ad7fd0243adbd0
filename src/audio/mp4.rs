//! What an MP4 file states of its sound's place in time, which the decoder leaves alone.
//!
//! In: the file. Out: for each sound track the edit list, or the delay and length in the tag `iTunSMPB`. The edit list
//! says from which moment of the coded sound on it is heard, so that what the encoder put before it is left out
//! **[P: ISO/IEC 14496-12, 8.6.6]**. The tag is a line of hexadecimal numbers, of which the second is the delay and
//! the fourth the length, in samples **[C]**.
//!
//! Also how many pieces of coded sound its boxes claim: a few bytes can claim milliards, each of which would be asked
//! for.

use std::io::{self, Read, Seek, SeekFrom};

/// What is stated of one track.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Stated {
    /// The track's number in the file.
    pub(super) track: u32,
    /// Whether it is sound.
    pub(super) sound: bool,
    /// Seconds of silence before it.
    pub(super) wait: f64,
    /// Seconds of coded sound to leave out at the start; `None` where nothing is stated.
    pub(super) skip: Option<f64>,
    /// Seconds of it that are to be heard, where that is stated.
    pub(super) length: Option<f64>,
    /// Whether it is put together from several pieces.
    pub(super) pieces: bool,
}

/// What is stated of a film.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Film {
    /// Its tracks.
    pub(super) tracks: Vec<Stated>,
    /// The most pieces of coded sound or picture that one box claims (sample tables, track runs).
    pub(super) pieces: u64,
}

/// Boxes in boxes, and boxes in all, that are looked at: far more than any real file has.
const DEEPEST: usize = 8;
const MOST: usize = 100_000;
/// Bytes of a box that is read whole.
const LARGEST: u64 = 1 << 16;

#[derive(Default)]
struct Finding {
    looked: usize,
    /// Units in a second of the whole film.
    film: f64,
    tracks: Vec<Track>,
    tag: Option<(f64, f64)>,
    pieces: u64,
}

#[derive(Default)]
struct Track {
    id: u32,
    sound: bool,
    /// Units in a second of the track.
    units: f64,
    edits: Vec<(f64, f64)>,
}

/// What the file states. Whatever is broken states nothing.
pub(super) fn stated<R: Read + Seek>(file: &mut R, length: u64) -> io::Result<Film> {
    let mut finding = Finding::default();
    finding.walk(file, 0, length, 0)?;
    let Finding {
        film,
        tracks,
        tag,
        pieces,
        ..
    } = finding;
    Ok(Film {
        tracks: tracks.iter().map(|track| track.stated(film, tag)).collect(),
        pieces,
    })
}

impl Track {
    fn stated(&self, film: f64, tag: Option<(f64, f64)>) -> Stated {
        let mut stated = Stated {
            track: self.id,
            sound: self.sound,
            ..Stated::default()
        };
        let known = |x: f64| Some(x).filter(|x| x.is_finite() && (0.0..1e6).contains(x));
        let gaps = self.edits.iter().take_while(|(_, media)| *media < 0.0);
        stated.wait = known(gaps.map(|(length, _)| length / film).sum()).unwrap_or(0.0);
        let mut pieces = self.edits.iter().filter(|(_, media)| *media >= 0.0);
        if let Some((length, media)) = pieces.next() {
            stated.skip = known(media / self.units);
            stated.length = known(length / film).filter(|l| *l > 0.0);
        }
        stated.pieces = pieces.next().is_some();
        if let Some((delay, length)) = tag.filter(|_| stated.skip.is_none_or(|skip| skip == 0.0)) {
            stated.skip = known(delay / self.units);
            stated.length = known(length / self.units).filter(|l| *l > 0.0);
        }
        stated
    }
}

impl Finding {
    /// Looks at the boxes between two places.
    fn walk<R: Read + Seek>(&mut self, file: &mut R, mut at: u64, end: u64, depth: usize) -> io::Result<()> {
        while at.saturating_add(8) <= end && depth < DEEPEST && self.looked < MOST {
            self.looked += 1;
            file.seek(SeekFrom::Start(at))?;
            let mut head = [0u8; 8];
            if file.read_exact(&mut head).is_err() {
                break;
            }
            let [a, b, c, d, name @ ..] = head;
            let (mut size, mut header) = (u64::from(u32::from_be_bytes([a, b, c, d])), 8);
            if size == 1 {
                let mut long = [0u8; 8];
                if file.read_exact(&mut long).is_err() {
                    break;
                }
                (size, header) = (u64::from_be_bytes(long), 16);
            } else if size == 0 {
                size = end - at;
            }
            let next = at.saturating_add(size);
            if size < header || next > end {
                break;
            }
            self.look(file, &name, at + header, next, depth)?;
            at = next;
        }
        Ok(())
    }

    /// Looks at one box, whose content lies between two places.
    fn look<R: Read + Seek>(
        &mut self,
        file: &mut R,
        name: &[u8; 4],
        at: u64,
        end: u64,
        depth: usize,
    ) -> io::Result<()> {
        match name {
            b"trak" => {
                self.tracks.push(Track::default());
                self.walk(file, at, end, depth + 1)
            }
            b"moov" | b"mdia" | b"minf" | b"stbl" | b"edts" | b"udta" | b"ilst" | b"moof" | b"traf" => {
                self.walk(file, at, end, depth + 1)
            }
            // Its boxes come after four bytes of version.
            b"meta" => self.walk(file, at + 4, end, depth + 1),
            b"mvhd" | b"mdhd" | b"tkhd" | b"hdlr" | b"elst" | b"----" | b"stsz" | b"stts" | b"trun" => {
                file.seek(SeekFrom::Start(at))?;
                let mut bytes = Vec::new();
                file.by_ref()
                    .take((end - at).min(LARGEST))
                    .read_to_end(&mut bytes)?;
                self.note(name, &bytes);
                Ok(())
            }
            _ => Ok(()),
        }
    }

    fn claim(&mut self, pieces: Option<u64>) {
        self.pieces = self.pieces.max(pieces.unwrap_or(0));
    }

    /// Takes down what a box says; one that is cut short says nothing.
    fn note(&mut self, name: &[u8; 4], bytes: &[u8]) {
        let wide = bytes.first() == Some(&1);
        let units = || number(bytes, if wide { 20 } else { 12 }, 4).map(|n| n as f64);
        match (name, self.tracks.last_mut()) {
            (b"mvhd", _) => self.film = units().unwrap_or(0.0),
            (b"mdhd", Some(track)) => track.units = units().unwrap_or(0.0),
            (b"tkhd", Some(track)) => {
                let id = number(bytes, if wide { 20 } else { 12 }, 4);
                track.id = id.and_then(|id| u32::try_from(id).ok()).unwrap_or(0);
            }
            (b"hdlr", Some(track)) => track.sound |= bytes.get(8..12) == Some(b"soun".as_slice()),
            (b"elst", Some(track)) => {
                let (size, each) = if wide { (8, 20) } else { (4, 12) };
                for entry in bytes.get(8..).unwrap_or_default().chunks_exact(each) {
                    let (length, media) = (number(entry, 0, size), number(entry, size, size));
                    if let (Some(length), Some(media)) = (length, media) {
                        let gap = media == if wide { u64::MAX } else { u64::from(u32::MAX) };
                        track
                            .edits
                            .push((length as f64, if gap { -1.0 } else { media as f64 }));
                    }
                }
            }
            (b"----", _) => self.tag = gapless(bytes).or(self.tag),
            (b"stsz", _) => self.claim(number(bytes, 8, 4)),
            (b"trun", _) => self.claim(number(bytes, 4, 4)),
            (b"stts", _) => {
                let entries = bytes.get(8..).unwrap_or_default().chunks_exact(8);
                self.claim(Some(entries.filter_map(|entry| number(entry, 0, 4)).sum()));
            }
            _ => {}
        }
    }
}

/// The number of `size` bytes at `at`.
fn number(bytes: &[u8], at: usize, size: usize) -> Option<u64> {
    let digits = bytes.get(at..at.checked_add(size)?)?;
    Some(digits.iter().fold(0, |n, byte| n << 8 | u64::from(*byte)))
}

/// Delay and length in samples out of a tag of that name.
fn gapless(tag: &[u8]) -> Option<(f64, f64)> {
    let after = |name: &[u8]| {
        let at = tag.windows(name.len()).position(|w| w == name)?;
        tag.get(at + name.len()..)
    };
    after(b"iTunSMPB")?;
    // Eight bytes of type and language stand before the words.
    let words = String::from_utf8_lossy(after(b"data")?.get(8..)?);
    let numbers: Vec<u64> = words
        .split_whitespace()
        .filter_map(|word| u64::from_str_radix(word, 16).ok())
        .take(4)
        .collect();
    match numbers[..] {
        [_, delay, _, length] => Some((delay as f64, length as f64)),
        _ => None,
    }
}
