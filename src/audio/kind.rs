//! The first bytes of a file -> what it is; a file's name is never asked.

/// What a file holds, as far as its first bytes tell.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// A WAV file, or something that says `RIFF` and may be one.
    Wav,
    /// A sound file, or a film with sound, that the decoder reads.
    Coded(&'static str),
    /// Something else that is known.
    Other(&'static str),
    /// Nothing that is known.
    Unknown,
}

/// So many bytes are enough to tell.
pub(super) const HEAD: usize = 12;

/// What begins with these bytes.
pub(super) fn kind(head: &[u8]) -> Kind {
    let starts = |magic: &[u8]| head.starts_with(magic);
    let at_4 = head.get(4..12).unwrap_or_default();
    let form = |names: [&[u8]; 2]| starts(b"FORM") && names.iter().any(|name| at_4.ends_with(name));
    let boxes: [&[u8]; 5] = [b"ftyp", b"moov", b"mdat", b"wide", b"free"];
    match () {
        () if starts(b"RIFF") && at_4.ends_with(b"AVI ") => Kind::Other("an AVI film"),
        () if starts(b"RIFF") || starts(b"RF64") => Kind::Wav,
        () if starts(b"fLaC") => Kind::Coded("FLAC file"),
        () if starts(b"OggS") => Kind::Coded("Ogg file"),
        () if form([b"AIFF", b"AIFC"]) => Kind::Coded("AIFF file"),
        () if boxes.iter().any(|name| at_4.starts_with(name)) => Kind::Coded("MP4 file"),
        () if starts(b"\x1A\x45\xDF\xA3") => Kind::Coded("Matroska file"),
        // A tag of titles and pictures may stand before any of them; it mostly stands before MP3.
        () if starts(b"ID3") => Kind::Coded("MP3 file"),
        () => match head {
            // Twelve set bits and a layer of 0: AAC in frames of its own. Eleven, and layer III in the two bits
            // before the last: MP3. Other layers are too easily met in text of 16 bit a letter.
            [0xFF, second, ..] if second & 0xF6 == 0xF0 => Kind::Coded("AAC file"),
            [0xFF, second, ..] if second & 0xE6 == 0xE2 => Kind::Coded("MP3 file"),
            _ => other(head).map_or(Kind::Unknown, Kind::Other),
        },
    }
}

/// What is not read, for a refusal that names it.
fn other(head: &[u8]) -> Option<&'static str> {
    let known: [(&[u8], &str); 12] = [
        (b"RIFX", "a big-endian WAV file"),
        (b"riff", "a Wave64 file"),
        (b"caff", "a CAF file"),
        (b"wvpk", "a WavPack file"),
        (b"MAC ", "a Monkey's Audio file"),
        (b"\x30\x26\xB2\x75", "a Windows Media file"),
        (b"MThd", "a MIDI file, which holds no sound"),
        (b"\x89PNG", "a picture"),
        (b"\xFF\xD8\xFF", "a picture"),
        (b"GIF8", "a picture"),
        (b"%PDF", "a PDF document"),
        (b"PK\x03\x04", "a ZIP archive"),
    ];
    let found = known.iter().find(|(magic, _)| head.starts_with(magic));
    found.map(|(_, name)| *name)
}
