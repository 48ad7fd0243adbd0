//! Bits, highest first, and the checksums over them.

/// Bits that are being written.
#[derive(Default)]
pub(super) struct Bits {
    bytes: Vec<u8>,
    /// The last bits, fewer than 32 of them.
    held: u64,
    count: u32,
}

impl Bits {
    /// Writes the lowest `count` bits of `value`, 32 at most; all above them are 0.
    pub(super) fn put(&mut self, value: u64, count: u32) {
        self.held = self.held << count | value;
        self.count += count;
        if self.count >= 32 {
            self.count -= 32;
            let whole = (self.held >> self.count) as u32;
            self.bytes.extend_from_slice(&whole.to_be_bytes());
        }
    }

    /// All bytes so far; the last one is filled up with zeros.
    pub(super) fn bytes(&mut self) -> &[u8] {
        self.put(0, (8 - self.count % 8) % 8);
        while self.count > 0 {
            self.count -= 8;
            self.bytes.push((self.held >> self.count) as u8);
        }
        &self.bytes
    }

    /// Those from the byte numbered `first` on.
    pub(super) fn bytes_from(&mut self, first: usize) -> &[u8] {
        self.bytes().get(first..).unwrap_or_default()
    }

    pub(super) fn into_bytes(mut self) -> Vec<u8> {
        self.bytes();
        self.bytes
    }
}

/// Writes a number in as many bytes as it needs, as UTF-8 does with characters.
pub(super) fn put_number(out: &mut Bits, number: u64) {
    if number < 0x80 {
        return out.put(number, 8);
    }
    // Each byte after the first holds six bits; the first begins with as many ones as there are bytes.
    let more = (1..6).find(|more| number < 1 << (5 * more + 6)).unwrap_or(6);
    let first = 0xff00 >> (more + 1) & 0xff | number >> (6 * more);
    out.put(first, 8);
    for at in (0..more).rev() {
        out.put(0x80 | number >> (6 * at) & 0x3f, 8);
    }
}

/// What each byte adds to a checksum of 8 and of 16 bits: x^8 + x^2 + x + 1 and x^16 + x^15 + x^2 + 1 (RFC 9639, 9.1.8
/// and 9.3).
static TABLE_8: [u16; 256] = table(8, 0x07);
static TABLE_16: [u16; 256] = table(16, 0x8005);

const fn table(bits: u32, polynomial: u16) -> [u16; 256] {
    let (top, mut table, mut byte) = (1u16 << (bits - 1), [0; 256], 0);
    while byte < 256 {
        let (mut rest, mut bit) = ((byte as u16) << (bits - 8), 0);
        while bit < 8 {
            rest = if rest & top > 0 {
                rest << 1 ^ polynomial
            } else {
                rest << 1
            };
            bit += 1;
        }
        table[byte] = if bits == 8 { rest & 0xff } else { rest };
        byte += 1;
    }
    table
}

pub(super) fn crc_8(bytes: &[u8]) -> u8 {
    bytes
        .iter()
        .fold(0, |crc, byte| TABLE_8[usize::from(crc ^ byte)] as u8)
}

pub(super) fn crc_16(bytes: &[u8]) -> u16 {
    let next = |crc: u16, byte: &u8| crc << 8 ^ TABLE_16[usize::from((crc >> 8) as u8 ^ byte)];
    bytes.iter().fold(0, next)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn checksums_are_the_published_ones() {
        // CRC-8/SMBUS and CRC-16/UMTS of "123456789" [P: Cook, Catalogue of parametrised CRC algorithms].
        assert_eq!((crc_8(b"123456789"), crc_16(b"123456789")), (0xf4, 0xfee8));
    }

    #[test]
    fn numbers_are_written_as_characters_are() {
        for number in [0, 1, 0x7f, 0x80, 0x7ff, 0x800, 0xffff, 0x1_0000, 0x10_ffff] {
            let mut out = Bits::default();
            put_number(&mut out, u64::from(number));
            let mut utf8 = [0; 4];
            let known = char::from_u32(number).map(|c| c.encode_utf8(&mut utf8).as_bytes().to_vec());
            assert_eq!(Some(out.into_bytes()), known, "{number:x}");
        }
    }
}
