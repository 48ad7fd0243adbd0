//! Any sound file but WAV -> its samples as plain floats in a working file, at the right times.
//!
//! Decoding is symphonia's. What it leaves to do is the delay that an encoder puts before the sound: it is left out as
//! the file states it; where an MP3 or AAC file states none, the usual one is. Packets that cannot be decoded become
//! silence of their length, so that what follows keeps its time.

use std::cell::Cell;
use std::fs::File;
use std::io::{self, BufWriter, Cursor, Read, Seek, SeekFrom, Write};
use std::panic::{self, AssertUnwindSafe};
use std::sync::{Arc, Once};

use symphonia::core::codecs::audio::well_known as codec;
use symphonia::core::codecs::audio::{AudioCodecId, AudioDecoder, AudioDecoderOptions};
use symphonia::core::errors::Error;
use symphonia::core::formats::probe::Hint;
use symphonia::core::formats::well_known as format;
use symphonia::core::formats::{FormatReader, Track, TrackType};
use symphonia::core::io::{MediaSource, MediaSourceStream};
use symphonia::core::packet::Packet;
use tempfile::SpooledTempFile;

use super::error::AudioError;
use super::mp4::{self, Stated};
use super::recording::no_room;
use super::wav::{Coding, Header, channels_and_rate};

/// Samples that come out of an MP3 decoder before the sound, when the encoder is the usual one: 576 of the encoder and
/// 529 of the decoder **[C: LAME, its technical FAQ]**.
const USUAL_MP3_DELAY: u64 = 576 + 529;
/// Samples that come out of an AAC decoder before the sound, at least: one block **[C]**.
const USUAL_AAC_DELAY: u64 = 1024;
/// Bytes of samples that stay in memory.
const IN_MEMORY: usize = 4 << 20;
/// A packet that says it lasts longer than this many samples lies.
const LONGEST_PACKET: u64 = 1 << 16;
/// Nobody plays for longer than this, but a few bytes can be made to say so: hours.
const LONGEST: u64 = 12;
/// The highest rate that is read, samples a second.
const FASTEST: u32 = 192_000;
/// So many pieces of sound a file may claim whatever its length: it may be the beginning of a longer one.
const FEW_PIECES: u64 = 1 << 20;

/// How a warning begins that tells of a file cut short.
const AS_FAR: &str = "the file is cut short and read only as far as it goes";

/// A decoded file: 32-bit floats, which [`super::samples::Samples`] reads.
pub(super) struct Decoded {
    pub(super) samples: SpooledTempFile,
    pub(super) header: Header,
    /// What the player should know.
    pub(super) warnings: Vec<String>,
}

/// Decodes the file called `name`, a `kind`.
///
/// A file whose own parts do not reach to where they should is read once more as if it came over a wire, where nobody
/// looks ahead to its end: so one that was cut short is heard as far as it goes.
pub(super) fn decode<S: Source>(
    mut source: S,
    kind: &'static str,
    name: &str,
) -> Result<Decoded, AudioError> {
    let io = |e: io::Error| super::error::unreadable(name, &e);
    let length = source.byte_len().unwrap_or(0);
    let mp4::Film {
        tracks: stated,
        pieces,
    } = mp4::stated(&mut source, length).map_err(io)?;
    if pieces > length.max(FEW_PIECES) {
        return Err(AudioError::Damaged {
            file: name.to_owned(),
            kind,
            reason: format!("it claims {pieces} pieces of sound, more than it has bytes"),
        });
    }
    let again = source.again().map_err(io)?;
    let whole = guarded(kind, name, || decode_from(Box::new(again), &stated, kind, name));
    if !matches!(whole, Err(AudioError::Damaged { .. })) {
        return whole;
    }
    let wire = Wire(source.again().map_err(io)?);
    match guarded(kind, name, || decode_from(Box::new(wire), &stated, kind, name)) {
        Ok(mut part) => {
            part.warnings.retain(|warning| !warning.starts_with(AS_FAR));
            let told = format!("{AS_FAR}: its parts do not reach to where they should");
            part.warnings.insert(0, told);
            Ok(part)
        }
        Err(_) => whole,
    }
}

thread_local! {
    /// Whether this thread is decoding, where a panic is an answer.
    static DECODING: Cell<bool> = const { Cell::new(false) };
}

/// Does `work`; should the decoder panic over a damaged file, which fuzzing has seen it do, that is a refusal like others
/// and nobody is told of it but by this.
fn guarded<T>(
    kind: &'static str,
    name: &str,
    work: impl FnOnce() -> Result<T, AudioError>,
) -> Result<T, AudioError> {
    static HOOK: Once = Once::new();
    HOOK.call_once(|| {
        let usual = panic::take_hook();
        panic::set_hook(Box::new(move |facts| {
            if !DECODING.get() {
                usual(facts);
            }
        }));
    });
    DECODING.set(true);
    let done = panic::catch_unwind(AssertUnwindSafe(work));
    DECODING.set(false);
    done.unwrap_or_else(|_| {
        Err(AudioError::Damaged {
            file: name.to_owned(),
            kind,
            reason: "its parts contradict each other".to_owned(),
        })
    })
}

/// Something that can be read from its beginning again.
pub(super) trait Source: MediaSource + Sized + 'static {
    /// The same from its beginning; what was read from before is not to be used any more.
    fn again(&self) -> io::Result<Self>;
}

impl Source for File {
    fn again(&self) -> io::Result<Self> {
        let mut file = self.try_clone()?;
        file.rewind()?;
        Ok(file)
    }
}

impl Source for Cursor<Arc<[u8]>> {
    fn again(&self) -> io::Result<Self> {
        Ok(Cursor::new(self.get_ref().clone()))
    }
}

/// Bytes that come one after the other, nobody knows how many.
struct Wire<S>(S);

impl<S: Read> Read for Wire<S> {
    fn read(&mut self, bytes: &mut [u8]) -> io::Result<usize> {
        self.0.read(bytes)
    }
}

impl<S> Seek for Wire<S> {
    fn seek(&mut self, _: SeekFrom) -> io::Result<u64> {
        Err(io::ErrorKind::Unsupported.into())
    }
}

impl<S: Read + Send + Sync> MediaSource for Wire<S> {
    fn is_seekable(&self) -> bool {
        false
    }

    fn byte_len(&self) -> Option<u64> {
        None
    }
}

fn decode_from(
    source: Box<dyn MediaSource>,
    stated: &[Stated],
    kind: &'static str,
    name: &str,
) -> Result<Decoded, AudioError> {
    let damaged = |error: Error| refused(error, kind, name);
    let stream = MediaSourceStream::new(source, Default::default());
    let mut format = symphonia::default::get_probe()
        .probe(&Hint::new(), stream, Default::default(), Default::default())
        .map_err(damaged)?;
    let lacks = |reason: String| AudioError::Damaged {
        file: name.to_owned(),
        kind,
        reason,
    };
    let sounds = |track: &&Track| track.track_type() == Some(TrackType::Audio);
    let count = format.tracks().iter().filter(sounds).count();
    let track = format.default_track(TrackType::Audio);
    let track = track.or_else(|| format.tracks().iter().find(sounds));
    let track = track.ok_or_else(|| lacks("there is no sound in it".to_owned()))?;
    let parameters = track.codec_params.as_ref().and_then(|p| p.audio());
    let parameters = parameters.ok_or_else(|| lacks("its sound is not described".to_owned()))?;
    let coding = parameters.codec;
    let times = Times::of(format.as_ref(), track, coding, stated);
    let options = AudioDecoderOptions::default().gapless(!times.own);
    let decoder = symphonia::default::get_codecs()
        .make_audio_decoder(parameters, &options)
        .map_err(|error| match coding_name(coding) {
            Some(coding) => lacks(format!("its sound is {coding}, which is not read")),
            None => damaged(error),
        })?;
    let mut warnings = Vec::new();
    if count > 1 {
        warnings.push(format!(
            "the file has {count} sound tracks; the first of them was taken"
        ));
    }
    let track = track.id;
    let mut work = Work::new(decoder, times, kind, name);
    work.run(format.as_mut(), track)?;
    work.finish(warnings)
}

/// The refusal for what the decoder says.
fn refused(error: Error, kind: &'static str, name: &str) -> AudioError {
    match error {
        Error::IoError(error) if error.kind() != io::ErrorKind::UnexpectedEof => {
            super::error::unreadable(name, &error)
        }
        error => AudioError::Damaged {
            file: name.to_owned(),
            kind,
            reason: reason(&error),
        },
    }
}

/// What is wrong with the file, in the decoder's words.
fn reason(error: &Error) -> String {
    match error {
        Error::IoError(_) => "it is cut short".to_owned(),
        Error::DecodeError(why) | Error::Unsupported(why) | Error::LimitError(why) => (*why).to_owned(),
        _ => "its parts do not fit together".to_owned(),
    }
}

/// Names of codings that players meet and that are not read.
fn coding_name(id: AudioCodecId) -> Option<&'static str> {
    Some(match id {
        codec::CODEC_ID_OPUS => "Opus",
        codec::CODEC_ID_AC3 | codec::CODEC_ID_EAC3 => "Dolby Digital",
        codec::CODEC_ID_MP2 => "MPEG layer II",
        codec::CODEC_ID_SPEEX => "Speex",
        codec::CODEC_ID_DCA => "DTS",
        codec::CODEC_ID_WMA => "Windows Media",
        _ => return None,
    })
}

/// What is left out of the decoded sound, and what is put before it.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
struct Times {
    /// Whether this is done here rather than by the decoder.
    own: bool,
    /// Seconds of silence before the sound.
    wait: f64,
    /// Samples to leave out, or seconds of them.
    skip: u64,
    skip_seconds: f64,
    /// Samples to leave out at the end of a whole file.
    padding: u64,
    /// Samples that a whole file has after all that is left out.
    promised: Option<u64>,
    /// Seconds that are to be heard.
    length: Option<f64>,
    /// The coding whose usual delay was taken, as nothing was stated.
    guessed: Option<&'static str>,
    pieces: bool,
    /// Seconds in a unit of the packets' times, where a first packet before 0 tells the delay.
    unit: Option<f64>,
}

impl Times {
    fn of(format: &dyn FormatReader, track: &Track, coding: AudioCodecId, stated: &[Stated]) -> Times {
        let mut times = Times {
            promised: track.num_frames,
            ..Times::default()
        };
        match format.format_info().format {
            format::FORMAT_ID_MP3 => {
                times.own = true;
                times.padding = u64::from(track.padding.unwrap_or(0));
                times.skip = track.delay.map_or(USUAL_MP3_DELAY, u64::from);
                times.guessed = track.delay.is_none().then_some("MP3");
                // Without a stated delay the number of samples is an estimate.
                times.promised = track.num_frames.filter(|_| track.delay.is_some());
            }
            format::FORMAT_ID_ADTS => {
                (times.own, times.skip, times.guessed) = (true, USUAL_AAC_DELAY, Some("AAC"));
                times.promised = None;
            }
            format::FORMAT_ID_ISOMP4 => {
                times.own = true;
                // The number of samples in the file counts what is left out too.
                times.promised = None;
                let found = stated.iter().find(|s| s.sound && s.track == track.id);
                let found = found.copied().unwrap_or_default();
                (times.wait, times.length, times.pieces) = (found.wait, found.length, found.pieces);
                times.skip_seconds = found.skip.unwrap_or(0.0);
                if found.skip.is_none() && coding == codec::CODEC_ID_AAC {
                    (times.skip, times.guessed) = (USUAL_AAC_DELAY, Some("AAC"));
                }
            }
            // A delay that is stated shows as a first packet before time 0; see `Work::run`.
            format::FORMAT_ID_MKV if coding == codec::CODEC_ID_AAC => {
                (times.own, times.skip, times.guessed) = (true, USUAL_AAC_DELAY, Some("AAC"));
                times.unit = track.time_base.and_then(|base| {
                    let unit = f64::from(base.numer.get()) / f64::from(base.denom.get());
                    Some(unit).filter(|unit| unit.is_finite())
                });
            }
            _ => {}
        }
        times
    }
}

/// The decoding of one track.
struct Work<'n> {
    decoder: Box<dyn AudioDecoder>,
    times: Times,
    out: BufWriter<SpooledTempFile>,
    kind: &'static str,
    name: &'n str,
    /// Channels and samples a second, once the first packet is decoded.
    form: Option<(u16, u32)>,
    /// Samples of each channel still to leave out, and written.
    skip: u64,
    frames: u64,
    /// Samples of silence that stand for what came before the first packet that could be decoded.
    owed: u64,
    bad: u64,
    good: u64,
    interleaved: Vec<f32>,
    /// Why the file was not read to its end.
    broken: Option<String>,
}

impl<'n> Work<'n> {
    fn new(decoder: Box<dyn AudioDecoder>, times: Times, kind: &'static str, name: &'n str) -> Self {
        Work {
            decoder,
            times,
            out: BufWriter::new(SpooledTempFile::new(IN_MEMORY)),
            kind,
            name,
            form: None,
            skip: 0,
            frames: 0,
            owed: 0,
            bad: 0,
            good: 0,
            interleaved: Vec::new(),
            broken: None,
        }
    }

    /// Decodes every packet of the track.
    fn run(&mut self, format: &mut dyn FormatReader, track: u32) -> Result<(), AudioError> {
        loop {
            match format.next_packet() {
                Ok(Some(packet)) if packet.track_id == track => {
                    self.note_delay(packet.pts.get());
                    if !self.take(&packet)? {
                        return Ok(());
                    }
                }
                Ok(Some(_)) => {}
                Ok(None) => return Ok(()),
                Err(Error::IoError(error)) if error.kind() != io::ErrorKind::UnexpectedEof => {
                    return Err(super::error::unreadable(self.name, &error));
                }
                Err(error) => {
                    self.broken = Some(reason(&error));
                    return Ok(());
                }
            }
        }
    }

    /// A first packet before time 0 states the delay.
    fn note_delay(&mut self, first: i64) {
        if let Some(unit) = self.times.unit.take().filter(|_| first < 0) {
            self.times.skip = 0;
            self.times.skip_seconds = (unit * first.unsigned_abs() as f64).min(1.0);
            self.times.guessed = None;
        }
    }

    /// Decodes a packet; `false` where the sound changes its form in the middle, which ends it.
    fn take(&mut self, packet: &Packet) -> Result<bool, AudioError> {
        let mut interleaved = std::mem::take(&mut self.interleaved);
        let decoded = match self.decoder.decode(packet) {
            Ok(sound) => {
                let channels = u16::try_from(sound.spec().channels().count()).unwrap_or(u16::MAX);
                sound.copy_to_vec_interleaved(&mut interleaved);
                Some((channels, sound.spec().rate()))
            }
            Err(_) => None,
        };
        match (decoded, self.form) {
            (None, _) => {
                self.bad += 1;
                let all = packet.dur.get().saturating_add(packet.trim_start.get());
                self.owed = self.owed.saturating_add(all.min(LONGEST_PACKET));
                let rate = self.form.map_or(FASTEST, |(_, rate)| rate);
                self.not_longer(self.frames.saturating_add(self.owed), rate)?;
            }
            (Some(form), Some(first)) if form != first => {
                self.broken = Some("its form changes in the middle".to_owned());
                return Ok(false);
            }
            (Some((channels, rate)), _) => {
                if self.form.is_none() {
                    channels_and_rate(channels, rate, self.name)?;
                    self.form = Some((channels, rate));
                    let samples = |seconds: f64| (seconds * f64::from(rate)).round() as u64;
                    self.skip = self.times.skip + samples(self.times.skip_seconds);
                    self.silence(samples(self.times.wait), channels)?;
                }
                self.good += 1;
                self.owe(channels)?;
                self.write(&interleaved, channels)?;
                self.not_longer(self.frames, rate)?;
            }
        }
        self.interleaved = interleaved;
        Ok(true)
    }

    /// Refuses so many samples where they last longer than anybody plays.
    fn not_longer(&self, frames: u64, rate: u32) -> Result<(), AudioError> {
        if frames / u64::from(rate.max(1)) <= LONGEST * 3600 {
            return Ok(());
        }
        Err(AudioError::Damaged {
            file: self.name.to_owned(),
            kind: self.kind,
            reason: format!("it lasts longer than {LONGEST} hours"),
        })
    }

    /// Writes the silence of packets that could not be decoded.
    fn owe(&mut self, channels: u16) -> Result<(), AudioError> {
        let left_out = self.owed.min(self.skip);
        self.skip -= left_out;
        let owed = std::mem::take(&mut self.owed) - left_out;
        self.silence(owed, channels)
    }

    fn silence(&mut self, frames: u64, channels: u16) -> Result<(), AudioError> {
        self.frames += frames;
        let mut bytes = Read::take(io::repeat(0), frames * u64::from(channels) * 4);
        let written = io::copy(&mut bytes, &mut self.out);
        written.map(|_| ()).map_err(|e| no_room(self.name, &e))
    }

    fn write(&mut self, interleaved: &[f32], channels: u16) -> Result<(), AudioError> {
        let channels = usize::from(channels.max(1));
        let frames = interleaved.len() / channels;
        let left_out = usize::try_from(self.skip).unwrap_or(usize::MAX).min(frames);
        self.skip -= left_out as u64;
        self.frames += (frames - left_out) as u64;
        let heard = interleaved.get(left_out * channels..).unwrap_or_default();
        heard
            .iter()
            .try_for_each(|x| self.out.write_all(&x.to_le_bytes()))
            .map_err(|e| no_room(self.name, &e))
    }

    fn finish(mut self, mut warnings: Vec<String>) -> Result<Decoded, AudioError> {
        let times = self.times;
        let Some((channels, rate)) = self.form else {
            return Err(AudioError::Damaged {
                file: self.name.to_owned(),
                kind: self.kind,
                reason: if self.bad > 0 {
                    "none of its sound can be decoded".to_owned()
                } else {
                    "there is no sound in it".to_owned()
                },
            });
        };
        self.owe(channels)?;
        let whole = times.promised.is_none_or(|promised| self.frames >= promised) && self.broken.is_none();
        let mut frames = self.frames;
        if whole {
            frames = frames.saturating_sub(times.padding);
            let heard = times
                .length
                .map(|s| ((s + times.wait) * f64::from(rate)).round() as u64);
            frames = heard.map_or(frames, |heard| frames.min(heard));
        }
        if let Some(kind) = times.guessed {
            warnings.push(format!(
                "this {kind} file does not say how late its sound comes: the usual {:.0} ms were taken off, so all times may be wrong by some milliseconds",
                1000.0 * times.skip as f64 / f64::from(rate)
            ));
        }
        if times.pieces {
            warnings.push(
                "the film is cut together from several pieces: times hold for the first of them".to_owned(),
            );
        }
        if self.bad > 0 {
            let all = self.bad + self.good;
            warnings.push(format!(
                "{} of {all} packets of the file are damaged: there is silence in their place",
                self.bad
            ));
        }
        if let Some(why) = self.broken.take().filter(|_| times.promised.is_none()) {
            warnings.push(format!("{AS_FAR}: {why}"));
        }
        let samples = self.out.into_inner().map_err(|e| no_room(self.name, e.error()))?;
        let header = Header {
            coding: Coding::Float32,
            channels,
            rate,
            data_start: 0,
            frames,
            promised: times.promised.filter(|_| !whole),
        };
        Ok(Decoded {
            samples,
            header,
            warnings,
        })
    }
}
