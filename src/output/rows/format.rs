//! Numbers as text, at speed: whole numbers, thousandths, decimals, into one buffer that is used again.
//!
//! What: eight digits at a time are found by three multiplications on halves, quarters and eighths of one 64-bit word (division by a
//! constant as multiplication by its scaled reciprocal: H. S. Warren, Hacker's Delight, 2nd ed. 2013, ch. 10, from memory; the ranges
//! are checked one by one in the tests), and leading zeros are shifted out, so nothing branches on the number of digits.
//! Invariant: the text is what the standard library's `Display` gives. Limit: larger numbers than eight digits take the plain way.

use std::io::Write;

/// Text that grows, and is emptied to be filled again.
#[derive(Debug, Default)]
pub(crate) struct Text {
    /// Bytes, of which the first `len` are the text.
    room: Vec<u8>,
    len: usize,
}

/// More than any one number here takes: 309 digits and a sign.
const WIDEST: usize = 320;

/// Numbers below have at most eight digits.
const EIGHT_DIGITS: u32 = 100_000_000;

impl Text {
    /// The text.
    #[must_use]
    pub(crate) fn bytes(&self) -> &[u8] {
        self.room.get(..self.len).unwrap_or(&[])
    }

    /// Empties it and keeps its capacity.
    pub(crate) fn clear(&mut self) {
        self.len = 0;
    }

    /// A comma and a whole number.
    pub(crate) fn field(&mut self, n: i64) {
        self.fields(core::iter::once(n));
    }

    /// A comma and a whole number, for each of `numbers`.
    #[inline]
    pub(crate) fn fields(&mut self, numbers: impl Iterator<Item = i64>) {
        // The place is kept here, not behind `self`: each number waits for the place of the one before.
        let mut at = self.len;
        for n in numbers {
            let size = n.unsigned_abs();
            let negative = usize::from(n < 0);
            let (word, used) = match u32::try_from(size) {
                Ok(size) if size < EIGHT_DIGITS => eight(size),
                _ => {
                    self.len = at;
                    self.many_digits_field(n);
                    at = self.len;
                    continue;
                }
            };
            if self.room.len() < at + 16 {
                self.grow();
            }
            if let Some(room) = self.room.get_mut(at..).and_then(|r| r.first_chunk_mut::<16>()) {
                // Comma, minus and eight digits in one piece; what is too long is written over by what follows.
                let sign = if negative == 1 { u128::from(word) << 16 | 0x2d2c } else { u128::from(word) << 8 | 0x2c };
                *room = sign.to_le_bytes();
                at += 1 + negative + used;
            }
        }
        self.len = at;
    }

    /// A comma and a number of thousandths, with three decimals; no minus before a zero.
    #[inline]
    pub(crate) fn thousandths_field(&mut self, n: i64) {
        self.byte(b',');
        if n < 0 {
            self.byte(b'-');
        }
        self.decimal(n.unsigned_abs(), 3);
    }

    /// `n / 10^decimals`, with exactly that many decimals, nine at most.
    pub(crate) fn decimal(&mut self, n: u64, decimals: u32) {
        let ten = 10_u64.pow(decimals.min(9));
        self.digits(n / ten);
        if decimals > 0 {
            // The leading one keeps the zeros after the point; the point then takes its place.
            let at = self.len;
            self.digits(ten + n % ten);
            if let Some(point) = self.room.get_mut(at) {
                *point = b'.';
            }
        }
    }

    /// The shortest decimal that reads back as `x`, without a power of ten.
    pub(crate) fn shortest(&mut self, x: f64) {
        if let Some(room) = self.ahead::<WIDEST>() {
            let mut rest: &mut [u8] = room;
            let before = rest.len();
            let _fits = write!(rest, "{x}");
            let used = before - rest.len();
            self.len += used;
        }
    }

    /// Bytes as they are.
    pub(crate) fn raw(&mut self, bytes: &[u8]) {
        let end = self.len + bytes.len();
        if self.room.len() < end {
            self.room.resize(2 * end, 0);
        }
        if let Some(room) = self.room.get_mut(self.len..end) {
            room.copy_from_slice(bytes);
            self.len = end;
        }
    }

    /// One byte.
    #[inline]
    pub(crate) fn byte(&mut self, byte: u8) {
        if let Some([first, ..]) = self.ahead::<16>() {
            *first = byte;
            self.len += 1;
        }
    }

    #[inline]
    fn digits(&mut self, n: u64) {
        let Ok(small) = u32::try_from(n) else { return self.many_digits(n) };
        if small >= EIGHT_DIGITS {
            return self.many_digits(n);
        }
        let (word, used) = eight(small);
        if let Some(room) = self.ahead::<8>() {
            *room = word.to_le_bytes();
            self.len += used;
        }
    }

    #[cold]
    fn many_digits_field(&mut self, n: i64) {
        self.raw(b",");
        self.raw(itoa::Buffer::new().format(n).as_bytes());
    }

    #[cold]
    fn many_digits(&mut self, n: u64) {
        self.raw(itoa::Buffer::new().format(n).as_bytes());
    }

    /// The next N bytes after the text.
    #[inline]
    fn ahead<const N: usize>(&mut self) -> Option<&mut [u8; N]> {
        if self.room.len() < self.len + N {
            self.grow();
        }
        self.room.get_mut(self.len..)?.first_chunk_mut::<N>()
    }

    #[cold]
    fn grow(&mut self) {
        let more = 2 * self.room.len() + WIDEST;
        self.room.resize(more, 0);
    }
}

/// The digits of `n` < 10^8, first digit in the lowest byte, and how many there are; bytes after them are of no account.
#[inline]
fn eight(n: u32) -> (u64, usize) {
    let (high, low) = (n / 10_000, n % 10_000);
    let fours = u64::from(high) | u64::from(low) << 32;
    let hundreds = ((fours * 10_486) >> 20) & 0x0000_007f_0000_007f;
    let twos = hundreds | (fours - 100 * hundreds) << 16;
    let tens = ((twos * 103) >> 10) & 0x000f_000f_000f_000f;
    let ones = tens | (twos - 10 * tens) << 8;
    // The last digit stands even where it is zero.
    let leading = (ones | 1 << 56).trailing_zeros() & !7;
    let text = (ones | 0x3030_3030_3030_3030) >> leading;
    (text, 8 - (leading >> 3) as usize)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    fn text(write: impl Fn(&mut Text)) -> String {
        let mut t = Text::default();
        write(&mut t);
        String::from_utf8(t.bytes().to_vec()).unwrap()
    }

    #[test]
    fn the_reciprocals_divide_exactly_over_their_whole_range() {
        for n in 0..10_000_u64 {
            assert_eq!((n * 10_486) >> 20, n / 100);
        }
        for n in 0..100_u64 {
            assert_eq!((n * 103) >> 10, n / 10);
        }
    }

    #[test]
    fn whole_numbers_are_as_the_standard_library_writes_them() {
        let mut ns = vec![i64::MIN, i64::MAX, 0];
        for power in 0..19 {
            for d in -2..=2 {
                ns.extend([10_i64.pow(power) + d, -10_i64.pow(power) + d]);
            }
        }
        let mut g = crate::number::Generator::new(7);
        for _ in 0..20_000 {
            let x = g.between(-1.2e8, 1.2e8);
            ns.push(crate::number::whole::nearest(x).unwrap());
        }
        for n in ns {
            assert_eq!(text(|t| t.field(n)), format!(",{n}"));
        }
    }

    #[test]
    fn thousandths_keep_their_zeros_and_zero_has_no_minus() {
        for (n, want) in
            [(0, ",0.000"), (-1, ",-0.001"), (1, ",0.001"), (1000, ",1.000"), (-12_345_678_901_234, ",-12345678901.234"), (90, ",0.090")]
        {
            assert_eq!(text(|t| t.thousandths_field(n)), want);
        }
        assert_eq!(text(|t| t.decimal(5, 9)), "0.000000005");
        assert_eq!(text(|t| t.decimal(u64::MAX, 0)), u64::MAX.to_string());
    }

    #[test]
    fn text_grows_as_far_as_it_is_written() {
        let mut t = Text::default();
        let mut want = String::new();
        for n in 0..5_000_i64 {
            t.field(-n * 7919);
            t.shortest(1e300 / 3.0);
            want.push_str(&format!(",{}{}", -n * 7919, 1e300 / 3.0));
        }
        assert!(t.bytes() == want.as_bytes());
        t.clear();
        assert!(t.bytes().is_empty());
    }
}
