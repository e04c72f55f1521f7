//! Pictures of flat colour made small: DEFLATE with its fixed codes, and no copies but of what stands just before or
//! right above. In a plot nearly everything does, so that little is gained by looking further, and much time lost.
//!
//! Source: RFC 1951 (DEFLATE), RFC 1950 (the frame around it).

/// The longest copy there is.
const LONGEST: usize = 258;
/// A shorter copy is no shorter than what it stands for.
const SHORTEST: usize = 4;
/// The furthest a copy may come from.
const FURTHEST: usize = 32_768;

/// Bits, least significant first.
struct Bits {
    out: Vec<u8>,
    held: u64,
    count: u32,
}

impl Bits {
    fn put(&mut self, bits: u32, count: u32) {
        self.held |= u64::from(bits) << self.count;
        self.count += count;
        while self.count >= 8 {
            self.out.push(self.held as u8);
            self.held >>= 8;
            self.count -= 8;
        }
    }

    /// A code goes most significant bit first.
    fn code(&mut self, code: u32, count: u32) {
        self.put(code.reverse_bits() >> (32 - count), count);
    }

    /// A byte, the end (256), or a length's code (RFC 1951, 3.2.6).
    fn symbol(&mut self, symbol: u32) {
        match symbol {
            0..=143 => self.code(0x30 + symbol, 8),
            144..=255 => self.code(0x190 + symbol - 144, 9),
            256..=279 => self.code(symbol - 256, 7),
            _ => self.code(0xc0 + symbol - 280, 8),
        }
    }

    /// A copy of so many bytes from so far before (RFC 1951, 3.2.5).
    fn copy(&mut self, length: usize, distance: usize) {
        match length as u32 {
            258 => self.symbol(285),
            length => self.stepped(length - 3, 4, |bits, k| bits.symbol(257 + k)),
        }
        self.stepped(distance as u32 - 1, 2, |bits, k| bits.code(k, 5));
    }

    /// A number whose first codes stand for one value each, and then, `each` codes at a time, for twice as many: the
    /// code's place is said, and then which of its values.
    fn stepped(&mut self, value: u32, each: u32, say: impl Fn(&mut Bits, u32)) {
        if value < 2 * each {
            return say(self, value);
        }
        let extra = (value / each).ilog2();
        let place = extra * each + (value >> extra);
        say(self, place);
        self.put(value & ((1 << extra) - 1), extra);
    }
}

/// Bytes in rows of a length, as a zlib stream.
pub fn zlib(bytes: &[u8], row: usize) -> Vec<u8> {
    // a window of 32 kB, no dictionary, made fast
    let mut bits = Bits { out: vec![0x78, 0x01], held: 0, count: 0 };
    // the last block, with fixed codes
    bits.put(1, 1);
    bits.put(1, 2);
    let alike = |at: usize, distance: usize| -> usize {
        if distance == 0 || distance > at || distance > FURTHEST {
            return 0;
        }
        let ahead = bytes[at..].iter().take(LONGEST);
        ahead.zip(&bytes[at - distance..]).take_while(|(a, b)| a == b).count()
    };
    let mut at = 0;
    while at < bytes.len() {
        let (above, before) = (alike(at, row), alike(at, 1));
        let (length, distance) = if above >= before { (above, row) } else { (before, 1) };
        if length >= SHORTEST {
            bits.copy(length, distance);
            at += length;
        } else {
            bits.symbol(u32::from(bytes[at]));
            at += 1;
        }
    }
    bits.symbol(256);
    bits.put(0, 7); // to a whole byte
    let mut out = bits.out;
    out.extend(adler(bytes).to_be_bytes());
    out
}

/// Adler's sum (RFC 1950, 8.2).
fn adler(bytes: &[u8]) -> u32 {
    let (mut a, mut b) = (1u32, 0u32);
    // the longest stretch over which neither sum overflows
    for part in bytes.chunks(5552) {
        for byte in part {
            a += u32::from(*byte);
            b += a;
        }
        a %= 65_521;
        b %= 65_521;
    }
    b << 16 | a
}

/// The cyclic check of a PNG's chunk (ISO 3309; PNG specification, annex D).
pub fn crc(bytes: &[u8]) -> u32 {
    const TABLE: [u32; 256] = {
        let mut table = [0; 256];
        let mut n = 0;
        while n < 256 {
            let (mut c, mut k) = (n as u32, 0);
            while k < 8 {
                c = if c & 1 == 1 { 0xedb8_8320 ^ (c >> 1) } else { c >> 1 };
                k += 1;
            }
            table[n] = c;
            n += 1;
        }
        table
    };
    !bytes.iter().fold(!0u32, |c, byte| TABLE[((c ^ u32::from(*byte)) & 0xff) as usize] ^ (c >> 8))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sums_are_those_of_the_usual_check_string() {
        assert_eq!((crc(b"123456789"), adler(b"123456789")), (0xcbf4_3926, 0x091e_01de));
    }

    #[test]
    fn every_length_and_distance_has_the_code_of_the_standard() {
        // RFC 1951, 3.2.5: length 3 is 257; 10 is 264; 11 and 12 are 265; 257 is 284 with 30 of its five bits
        let place = |value: u32, each: u32| {
            let said = std::cell::Cell::new(0);
            let mut bits = Bits { out: vec![], held: 0, count: 0 };
            bits.stepped(value, each, |_, k| said.set(k));
            (said.get(), bits.held, bits.count)
        };
        let length = |n: u32| place(n - 3, 4);
        assert_eq!((length(3), length(10), length(11), length(12)), ((0, 0, 0), (7, 0, 0), (8, 0, 1), (8, 1, 1)));
        assert_eq!((length(18).0, length(19), length(257)), (11, (12, 0, 2), (27, 30, 5)));
        let distance = |n: u32| place(n - 1, 2);
        assert_eq!((distance(1), distance(4), distance(5), distance(6)), ((0, 0, 0), (3, 0, 0), (4, 0, 1), (4, 1, 1)));
        assert_eq!(distance(200), (15, 7, 6));
    }
}
