//! The header of a WAV file: where its samples lie and how they are stored.
//!
//! In: the file's bytes. Out: a [`Header`]. Chunks that are not needed are skipped, whatever they are; sizes that
//! lie are measured against the file itself. Layout **[P: Microsoft and IBM, Multimedia Programming Interface and
//! Data Specifications 1.0, 1991; WAVE_FORMAT_EXTENSIBLE: Microsoft, Multiple channel audio data and WAVE files;
//! RF64: EBU Tech 3306]**. A data size of 0 or of all ones is what recorders leave that were cut off or wrote to a
//! stream **[C]**: the data then run to the end of the file.

use std::io::{self, Read, Seek, SeekFrom};

use super::error::{AudioError, unreadable};

/// How one sample is stored; little-endian throughout.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Coding {
    /// 8 bit, unsigned, 128 is silence.
    Unsigned8,
    /// Signed integers of `bits` bits in containers of `bytes` bytes.
    Integer { bytes: usize, bits: u32 },
    /// 32-bit float.
    Float32,
    /// 64-bit float.
    Float64,
}

impl Coding {
    /// Bytes that one sample takes.
    pub(super) fn bytes(self) -> usize {
        match self {
            Coding::Unsigned8 => 1,
            Coding::Integer { bytes, .. } => bytes,
            Coding::Float32 => 4,
            Coding::Float64 => 8,
        }
    }

    /// The highest sample that fits, or a little less: what was clipped at 16 bit and stored finer counts too.
    pub(super) fn full_scale(self) -> f32 {
        const AT_16_BIT: f32 = 0.999_95;
        match self {
            Coding::Unsigned8 => 127.0 / 128.0,
            Coding::Integer { bits, .. } => AT_16_BIT.min(1.0 - 0.5f32.powi(bits as i32 - 1)),
            Coding::Float32 | Coding::Float64 => AT_16_BIT,
        }
    }
}

/// Where the samples lie and how they are stored.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Header {
    /// How a sample is stored.
    pub(super) coding: Coding,
    /// Channels, 1 to 8.
    pub(super) channels: u16,
    /// Samples a second, 8000 to 192000.
    pub(super) rate: u32,
    /// Where in the file the first sample lies, in bytes.
    pub(super) data_start: u64,
    /// Whole frames (one sample of each channel) that are really there.
    pub(super) frames: u64,
    /// Frames that the header promises, where it makes a promise.
    pub(super) promised: Option<u64>,
}

/// A header that ends before it is complete, as opposed to a disk that fails.
fn cut_short(file: &str, error: &io::Error) -> AudioError {
    if error.kind() == io::ErrorKind::UnexpectedEof {
        damaged(file, "the file ends inside it")
    } else {
        unreadable(file, error)
    }
}

fn damaged(file: &str, reason: impl Into<String>) -> AudioError {
    AudioError::DamagedHeader {
        file: file.to_owned(),
        reason: reason.into(),
    }
}

/// Fills as much of `buffer` as the file has bytes for.
pub(super) fn read_up_to(reader: &mut impl Read, buffer: &mut [u8]) -> io::Result<usize> {
    let mut filled = 0;
    while let Some(rest) = buffer.get_mut(filled..).filter(|rest| !rest.is_empty()) {
        match reader.read(rest) {
            Ok(0) => break,
            Ok(n) => filled += n,
            Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
            Err(e) => return Err(e),
        }
    }
    Ok(filled)
}

/// Reads the header of a file of `length` bytes that begins as a WAV file does.
pub(super) fn parse<R: Read + Seek>(reader: &mut R, length: u64, file: &str) -> Result<Header, AudioError> {
    let io = |e: io::Error| cut_short(file, &e);
    let mut head = [0u8; 12];
    let got = read_up_to(reader, &mut head).map_err(io)?;
    let head = head.get(..got).unwrap_or_default();
    if head.len() < 12 {
        return Err(damaged(file, "the file ends inside it"));
    }
    if !head.ends_with(b"WAVE") {
        return Err(AudioError::NotSound {
            file: file.to_owned(),
            reason: "it is another kind of RIFF file",
        });
    }
    chunks(reader, length, file)
}

/// Walks the chunks until both the format and the samples are found.
fn chunks<R: Read + Seek>(reader: &mut R, length: u64, file: &str) -> Result<Header, AudioError> {
    let io = |e: io::Error| cut_short(file, &e);
    let (mut format, mut data, mut long_size) = (None, None, None);
    let mut at = 12u64;
    while (format.is_none() || data.is_none()) && at + 8 <= length {
        let mut tag = [0u8; 8];
        reader.seek(SeekFrom::Start(at)).map_err(io)?;
        reader.read_exact(&mut tag).map_err(io)?;
        let [id0, id1, id2, id3, s0, s1, s2, s3] = tag;
        let size = u32::from_le_bytes([s0, s1, s2, s3]);
        let start = at + 8;
        let mut bytes = u64::from(size);
        match &[id0, id1, id2, id3] {
            b"fmt " if format.is_none() => format = Some(read_format(reader, bytes, file)?),
            b"ds64" => {
                let mut sizes = [0u8; 16];
                reader.read_exact(&mut sizes).map_err(io)?;
                let [.., a, b, c, d, e, f, g, h] = sizes;
                long_size = Some(u64::from_le_bytes([a, b, c, d, e, f, g, h]));
            }
            b"data" if data.is_none() => {
                let rest = length - start;
                let promised = match size {
                    u32::MAX => long_size,
                    0 if chunks_follow(reader, start, length).map_err(io)? => Some(0),
                    0 => None,
                    _ => Some(bytes),
                };
                bytes = promised.unwrap_or(rest);
                data = Some((start, bytes.min(rest), promised));
            }
            _ => {}
        }
        // Chunks begin on even bytes.
        at = start.saturating_add(bytes).saturating_add(bytes % 2);
    }
    let (coding, channels, rate) =
        format.ok_or_else(|| damaged(file, "it does not say how the samples are stored"))?;
    let (data_start, there, promised) = data.ok_or_else(|| damaged(file, "it has no samples"))?;
    let frame = coding.bytes() as u64 * u64::from(channels);
    Ok(Header {
        coding,
        channels,
        rate,
        data_start,
        frames: there / frame,
        promised: promised.map(|bytes| bytes / frame),
    })
}

/// Whether everything from `at` to the end of the file is whole chunks with readable names: then a data size of 0
/// means what it says. Samples do not look like that; silence has no readable names.
fn chunks_follow<R: Read + Seek>(reader: &mut R, mut at: u64, length: u64) -> io::Result<bool> {
    while at + 8 <= length {
        let mut tag = [0u8; 8];
        reader.seek(SeekFrom::Start(at))?;
        reader.read_exact(&mut tag)?;
        let [id @ .., s0, s1, s2, s3] = tag;
        if !id.iter().all(|c| c.is_ascii_graphic() || *c == b' ') {
            return Ok(false);
        }
        let bytes = u64::from(u32::from_le_bytes([s0, s1, s2, s3]));
        at = at.saturating_add(8 + bytes + bytes % 2);
    }
    // A last odd chunk may lack its padding byte.
    Ok(at == length || at == length + 1)
}

/// Refuses what no recording has.
pub(super) fn channels_and_rate(channels: u16, rate: u32, file: &str) -> Result<(), AudioError> {
    let file = || file.to_owned();
    if !(1..=8).contains(&channels) {
        return Err(AudioError::Channels {
            file: file(),
            given: channels,
        });
    }
    if !(8_000..=192_000).contains(&rate) {
        return Err(AudioError::Rate {
            file: file(),
            given: rate,
        });
    }
    Ok(())
}

/// Reads the format chunk: coding, channels, rate.
fn read_format<R: Read>(reader: &mut R, bytes: u64, file: &str) -> Result<(Coding, u16, u32), AudioError> {
    let mut chunk = [0u8; 40];
    let wanted = chunk.len().min(usize::try_from(bytes).unwrap_or(usize::MAX));
    let got =
        read_up_to(reader, chunk.get_mut(..wanted).unwrap_or_default()).map_err(|e| unreadable(file, &e))?;
    if got < wanted || wanted < 16 {
        return Err(damaged(file, "its description of the samples is cut short"));
    }
    let at = |i: usize| chunk.get(i).copied().unwrap_or_default();
    let short = |i: usize| u16::from_le_bytes([at(i), at(i + 1)]);
    let (tag, channels, frame, bits) = (short(0), short(2), short(12), short(14));
    let rate = u32::from_le_bytes([at(4), at(5), at(6), at(7)]);
    channels_and_rate(channels, rate, file)?;
    const EXTENSIBLE: u16 = 0xFFFE;
    // The rest of the identifier of a sub-format that stands for a plain format tag.
    const PLAIN: [u8; 14] = [0, 0, 0, 0, 16, 0, 128, 0, 0, 170, 0, 56, 155, 113];
    let extended = tag == EXTENSIBLE && got == 40;
    let tag = if extended && chunk.ends_with(&PLAIN) {
        short(24)
    } else {
        tag
    };
    // "Valid bits" of 0 are left by writers that mean the whole container.
    let valid = if extended && (1..=bits).contains(&short(18)) {
        short(18)
    } else {
        bits
    };
    coding(tag, frame, channels, valid, file).map(|coding| (coding, channels, rate))
}

/// The coding that a format tag, the bytes of a frame and the bits of a sample mean.
fn coding(tag: u16, frame: u16, channels: u16, bits: u16, file: &str) -> Result<Coding, AudioError> {
    let unread = |coding: String| {
        Err(AudioError::Coding {
            file: file.to_owned(),
            coding,
        })
    };
    let bytes = usize::from(frame / channels.max(1));
    let fits =
        frame.is_multiple_of(channels.max(1)) && bytes * 8 >= usize::from(bits) && (1..=8).contains(&bytes);
    let misfit = || {
        Err(damaged(
            file,
            format!("frames of {frame} bytes cannot hold {channels} channels of {bits} bit"),
        ))
    };
    match (tag, bits) {
        (1, 8..=32) | (3, 32 | 64) if !fits => misfit(),
        (1, 8) if bytes == 1 => Ok(Coding::Unsigned8),
        (1, 8..=32) if bytes <= 4 => Ok(Coding::Integer {
            bytes,
            bits: u32::from(bits),
        }),
        (3, 32) if bytes == 4 => Ok(Coding::Float32),
        (3, 64) if bytes == 8 => Ok(Coding::Float64),
        (1, 8..=32) | (3, 32 | 64) => misfit(),
        (1, _) => unread(format!("PCM of {bits} bit")),
        (3, _) => unread(format!("float of {bits} bit")),
        (2 | 17, _) => unread("ADPCM".to_owned()),
        (6, _) => unread("A-law".to_owned()),
        (7, _) => unread("mu-law".to_owned()),
        (80 | 85, _) => unread("MPEG audio inside a WAV file".to_owned()),
        (other, _) => unread(format!("of format number {other}")),
    }
}
