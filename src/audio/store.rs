//! Where the samples of a recording are kept: in memory while they are few, in a nameless working file when they are
//! many, so that the memory needed does not grow with the recording.
//!
//! Samples are 16-bit numbers, one of each channel in turn. The working file lies where the system wants such files
//! (`TMPDIR`); it has no name, so nothing is left of it however the program ends.

use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::ops::Range;
use std::sync::{Arc, OnceLock};

/// More samples than these go to the disk: 4 MiB, 24 seconds in stereo.
const IN_MEMORY: usize = 2 << 20;

/// Bytes read from the disk at a time, on the stack of the reader, and where few are wanted.
const BLOCK: usize = 16_384;
const LITTLE: usize = 2_048;

/// The samples of a recording, readable by many threads at once.
#[derive(Debug, Clone, Default)]
pub(super) struct Store {
    channels: usize,
    frames: usize,
    place: Place,
}

#[derive(Debug, Clone)]
enum Place {
    Memory(Vec<i16>),
    Disk(Arc<Disk>),
}

/// The working file, and the first reason why it could not be read.
#[derive(Debug)]
struct Disk {
    file: File,
    fault: OnceLock<String>,
}

impl Default for Place {
    fn default() -> Self {
        Place::Memory(Vec::new())
    }
}

impl Store {
    /// Samples in each channel.
    pub(super) fn frames(&self) -> usize {
        self.frames
    }

    /// Number of channels.
    pub(super) fn channels(&self) -> usize {
        self.channels
    }

    /// Hands block after block of whole frames from `first` on to `visit`, `count` frames or as many as there are.
    pub(super) fn each(&self, first: usize, count: usize, mut visit: impl FnMut(&[i16])) {
        let last = first.saturating_add(count).min(self.frames);
        if self.channels == 0 || first >= last {
            return;
        }
        match &self.place {
            Place::Memory(samples) => {
                let wanted = samples.get(first * self.channels..last * self.channels);
                visit(wanted.unwrap_or_default());
            }
            // Little is asked for most often, and room that is not needed takes time to make.
            Place::Disk(disk) if (last - first) * self.channels <= LITTLE / 2 => {
                self.each_of_disk::<LITTLE, { LITTLE / 2 }>(disk, first..last, visit);
            }
            Place::Disk(disk) => self.each_of_disk::<BLOCK, { BLOCK / 2 }>(disk, first..last, visit),
        }
    }

    fn each_of_disk<const BYTES: usize, const SAMPLES: usize>(
        &self,
        disk: &Disk,
        frames: Range<usize>,
        mut visit: impl FnMut(&[i16]),
    ) {
        let mut bytes = [0u8; BYTES];
        let mut block = [0i16; SAMPLES];
        let size = 2 * self.channels;
        let mut at = frames.start;
        while at < frames.end {
            let some = (frames.end - at).min(BYTES / size).max(1);
            let wanted = bytes.get_mut(..some * size).unwrap_or_default();
            if let Err(error) = read_at(&disk.file, wanted, (at * size) as u64) {
                // Silence from here on; whoever writes a result asks for the fault first.
                let _ = disk.fault.set(error.to_string());
                return;
            }
            let (pairs, _) = wanted.as_chunks::<2>();
            for (sample, two) in block.iter_mut().zip(pairs) {
                *sample = i16::from_ne_bytes(*two);
            }
            visit(block.get(..some * self.channels).unwrap_or_default());
            at += some;
        }
    }

    /// Why samples could not be read back, if ever they could not.
    pub(super) fn fault(&self) -> Option<&str> {
        match &self.place {
            Place::Memory(_) => None,
            Place::Disk(disk) => disk.fault.get().map(String::as_str),
        }
    }
}

impl PartialEq for Store {
    fn eq(&self, other: &Self) -> bool {
        let all = |store: &Store| {
            let mut all = Vec::with_capacity(store.channels * store.frames);
            store.each(0, store.frames, |block| all.extend_from_slice(block));
            all
        };
        (self.channels, self.frames) == (other.channels, other.frames) && all(self) == all(other)
    }
}

/// Fills a [`Store`] frame by frame.
pub(super) struct Filling {
    channels: usize,
    written: usize,
    memory: Vec<i16>,
    disk: Option<BufWriter<File>>,
}

impl Filling {
    pub(super) fn new(channels: usize) -> Self {
        Filling {
            channels,
            written: 0,
            memory: Vec::new(),
            disk: None,
        }
    }

    /// Adds samples, those of one frame after the other.
    pub(super) fn push(&mut self, samples: &[i16]) -> io::Result<()> {
        self.written += samples.len();
        if self.disk.is_none() && self.memory.len() + samples.len() <= IN_MEMORY {
            self.memory.extend_from_slice(samples);
            return Ok(());
        }
        let disk = match &mut self.disk {
            Some(disk) => disk,
            None => {
                let disk = self
                    .disk
                    .insert(BufWriter::with_capacity(1 << 16, tempfile::tempfile()?));
                let memory = std::mem::take(&mut self.memory);
                write(&memory, disk)?;
                disk
            }
        };
        write(samples, disk)
    }

    /// The store with all that was added.
    pub(super) fn finish(self) -> io::Result<Store> {
        let place = match self.disk {
            None => Place::Memory(self.memory),
            Some(disk) => Place::Disk(Arc::new(Disk {
                file: disk.into_inner().map_err(io::IntoInnerError::into_error)?,
                fault: OnceLock::new(),
            })),
        };
        Ok(Store {
            channels: self.channels,
            frames: self.written / self.channels.max(1),
            place,
        })
    }
}

/// Writes samples piece by piece, so that their bytes take no room of their own.
fn write(samples: &[i16], disk: &mut impl Write) -> io::Result<()> {
    let mut bytes = [0u8; BLOCK];
    samples.chunks(BLOCK / 2).try_for_each(|some| {
        let (pairs, _) = bytes.as_chunks_mut::<2>();
        pairs
            .iter_mut()
            .zip(some)
            .for_each(|(two, sample)| *two = sample.to_ne_bytes());
        disk.write_all(bytes.get(..2 * some.len()).unwrap_or_default())
    })
}

#[cfg(unix)]
fn read_at(file: &File, bytes: &mut [u8], at: u64) -> io::Result<()> {
    std::os::unix::fs::FileExt::read_exact_at(file, bytes, at)
}

#[cfg(windows)]
fn read_at(file: &File, mut bytes: &mut [u8], mut at: u64) -> io::Result<()> {
    while !bytes.is_empty() {
        let got = std::os::windows::fs::FileExt::seek_read(file, bytes, at)?;
        if got == 0 {
            return Err(io::ErrorKind::UnexpectedEof.into());
        }
        bytes = bytes.get_mut(got..).unwrap_or_default();
        at += got as u64;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn filled(channels: usize, count: usize) -> Store {
        let mut filling = Filling::new(channels);
        let sample = |i: usize| (i.wrapping_mul(7919) % 65_536) as u16 as i16;
        for start in (0..count).step_by(999_000) {
            let end = (start + 999_000).min(count);
            filling
                .push(&(start..end).map(sample).collect::<Vec<i16>>())
                .unwrap();
        }
        filling.finish().unwrap()
    }

    #[test]
    fn what_lies_on_the_disk_reads_like_what_lies_in_memory() {
        let (few, many) = (filled(3, 9000), filled(3, IN_MEMORY + 30_000));
        assert!(matches!(few.place, Place::Memory(_)) && matches!(many.place, Place::Disk(_)));
        for (first, count) in [(0, 3000), (2999, 1), (7, 1500), (2990, 10)] {
            let read = |store: &Store| {
                let mut all = Vec::new();
                store.each(first, count, |block| all.extend_from_slice(block));
                all
            };
            assert_eq!(read(&few), read(&many));
            assert_eq!(read(&few).len(), 3 * count);
        }
        assert_eq!(many.frames(), (IN_MEMORY + 30_000) / 3);
        assert_eq!(many.fault(), None);
    }

    #[test]
    fn nothing_is_read_beyond_the_end() {
        for store in [filled(2, 100), filled(2, IN_MEMORY + 2), Store::default()] {
            let mut seen = 0;
            store.each(store.frames(), 10, |block| seen += block.len());
            store.each(usize::MAX, usize::MAX, |block| seen += block.len());
            assert_eq!(seen, 0);
            store.each(store.frames().saturating_sub(5), 10, |block| seen += block.len());
            assert_eq!(seen, store.channels() * store.frames().min(5));
        }
    }
}
