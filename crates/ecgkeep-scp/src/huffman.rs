//! Section 2 and the codes it defines: Huffman tables, the default one or a record's own.

use std::sync::LazyLock;

use ecgkeep_format::{Cursor, Error, Kind, Result};

use crate::bits::{BitReader, BitWriter};
use crate::constants::{
    DEFAULT_TABLE, ESCAPE_8, ESCAPE_16, ESCAPE_PREFIX_BITS, LARGEST_CODED, MOST_TABLES, clause,
};

/// Prefixes up to this length are looked up at once.
const FAST_BITS: u32 = 11;
/// Bytes of one code structure in section 2.
const CODE_BYTES: usize = 9;

/// The tables of a record; the first is in force at the start of every lead.
#[derive(Clone)]
pub(crate) struct Tables(Vec<Table>);

#[derive(Clone)]
struct Table {
    /// The code whose prefix begins the index bits; without bits where none of at most [`FAST_BITS`] does.
    fast: Vec<Code>,
    fast_bits: u32,
    /// Every code, by prefix.
    codes: Vec<Code>,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct Code {
    /// The prefix, its first bit at the top.
    prefix: u32,
    prefix_bits: u8,
    /// Bits behind the prefix that are added to the value, in two's complement.
    extra_bits: u8,
    is_switch: bool,
    /// The value, or the number of the table to go on with, counted from 1.
    base: i16,
}

impl Code {
    /// The first window, as 32 bits, that no longer begins with this prefix.
    fn end(&self) -> u64 {
        u64::from(self.prefix) + (1u64 << (32 - u32::from(self.prefix_bits)))
    }
}

/// Samples of one lead as far as they could be decoded.
pub(crate) struct Decoded {
    /// The values, oldest first.
    pub(crate) values: Vec<i32>,
    /// Why there are fewer than asked for, as a lower-case fragment.
    pub(crate) stop: Option<&'static str>,
    /// Bits behind the last value, where all are there.
    pub(crate) bits_left: u64,
}

impl Decoded {
    /// Values as far as they go.
    pub(crate) fn stopped(values: Vec<i32>, stop: &'static str) -> Decoded {
        Decoded { values, stop: Some(stop), bits_left: 0 }
    }
}

static DEFAULT: LazyLock<Tables> = LazyLock::new(|| {
    let code = |value: u32, bits: u32, extra_bits: u8, base: i16| Code {
        prefix: value << (32 - bits),
        prefix_bits: u8::try_from(bits).expect("the default table's prefixes have at most 10 bits"),
        extra_bits,
        is_switch: false,
        base,
    };
    let mut codes =
        vec![code(ESCAPE_8, ESCAPE_PREFIX_BITS, 8, 0), code(ESCAPE_16, ESCAPE_PREFIX_BITS, 16, 0)];
    for value in -8i16..=8 {
        let (bits, length) = default_code(i32::from(value));
        codes.push(code(bits, length, 0, value));
    }
    Tables(vec![Table::new(codes).expect("the prefixes of the default table are free of each other")])
});

impl Tables {
    /// The default table of annex C.
    pub(crate) fn default_table() -> Tables {
        DEFAULT.clone()
    }

    /// Decodes up to `count` values from the bytes of one lead.
    pub(crate) fn decode(&self, bytes: &[u8], count: usize) -> Decoded {
        // each value takes at least one bit
        let mut values = Vec::with_capacity(count.min(bytes.len().saturating_mul(8)));
        let mut bits = BitReader::new(bytes);
        let mut table = &self.0[0];
        while values.len() < count {
            bits.refill();
            let Some(code) = table.find(bits.peek()) else {
                return Decoded::stopped(values, "no code of the table begins with these bits");
            };
            if bits.take(u32::from(code.prefix_bits)).is_none() {
                return Decoded::stopped(values, "the data ends before the last sample");
            }
            let mut value = i32::from(code.base);
            if code.is_switch {
                match usize::from(code.base.unsigned_abs()).checked_sub(1).and_then(|index| self.0.get(index))
                {
                    Some(next) if code.base > 0 => table = next,
                    _ => {
                        return Decoded::stopped(values, "a code switches to a table that is not there");
                    }
                }
                continue;
            }
            if code.extra_bits > 0 {
                let extra_bits = u32::from(code.extra_bits);
                if u32::from(code.prefix_bits) + extra_bits > 56 {
                    bits.refill();
                }
                // the top bit is the sign
                let extra = (bits.peek().cast_signed() >> (64 - extra_bits)) + i64::from(value);
                if bits.take(extra_bits).is_none() {
                    return Decoded::stopped(values, "the data ends before the last sample");
                }
                match i32::try_from(extra) {
                    Ok(extra) => value = extra,
                    Err(_) => return Decoded::stopped(values, "a value has more than 32 bits"),
                }
            }
            values.push(value);
        }
        Decoded { values, stop: None, bits_left: bits.left() }
    }
}

impl Table {
    /// `None` where one prefix begins another, or none is given.
    fn new(mut codes: Vec<Code>) -> Option<Table> {
        codes.sort_unstable_by_key(|code| code.prefix);
        if codes.is_empty() || codes.windows(2).any(|pair| pair[0].end() > u64::from(pair[1].prefix)) {
            return None;
        }
        let longest = codes.iter().map(|code| u32::from(code.prefix_bits)).max()?;
        let fast_bits = longest.min(FAST_BITS);
        let mut fast = vec![Code::default(); 1 << fast_bits];
        for code in codes.iter().filter(|code| u32::from(code.prefix_bits) <= fast_bits) {
            let first = (code.prefix >> (32 - fast_bits)) as usize;
            fast[first..first + (1 << (fast_bits - u32::from(code.prefix_bits)))].fill(*code);
        }
        Some(Table { fast, fast_bits, codes })
    }

    /// The code that the window begins with.
    #[inline]
    fn find(&self, window: u64) -> Option<Code> {
        let index = usize::try_from(window >> (64 - self.fast_bits)).ok()?;
        let code = self.fast[index];
        if code.prefix_bits > 0 { Some(code) } else { self.find_long(window) }
    }

    #[cold]
    fn find_long(&self, window: u64) -> Option<Code> {
        let window = window >> 32;
        let after = self.codes.partition_point(|code| u64::from(code.prefix) <= window);
        let code = self.codes[..after].last()?;
        (window < code.end()).then_some(*code)
    }
}

/// Reads section 2. The flag says that the prefixes stand in it first bit first, where the standard has the
/// first bit last.
/// # Errors
/// [`Kind::Malformed`] where the rows are no prefix codes, [`Kind::Truncated`], [`Kind::Limit`].
pub(crate) fn read_tables(mut cursor: Cursor) -> Result<(Tables, bool)> {
    let place = cursor.clone();
    let count = cursor.u16()?;
    if count == DEFAULT_TABLE {
        return Ok((Tables::default_table(), false));
    }
    if count == 0 {
        return Err(place.malformed("the number of Huffman tables", count, "1 or more, or 19999"));
    }
    if usize::from(count) > MOST_TABLES {
        let text = format!("{count} Huffman tables, the limit is {MOST_TABLES}");
        return Err(Error::new(Kind::Limit, text).at(place.place()).clause(clause::HUFFMAN));
    }
    let mut reversed = Some(Vec::new());
    let mut direct = Some(Vec::new());
    for _ in 0..count {
        let rows = usize::from(cursor.u16()?);
        let rows = cursor.part(rows * CODE_BYTES)?;
        let one = |is_reversed| read_table(rows.clone(), is_reversed);
        reversed = push(reversed, one(true)?);
        direct = push(direct, one(false)?);
    }
    match (reversed, direct) {
        (Some(tables), _) => Ok((Tables(tables), false)),
        (None, Some(tables)) => Ok((Tables(tables), true)),
        (None, None) => {
            Err(cursor.malformed("a Huffman table", "ambiguous", "prefixes none of which begins another"))
        }
    }
}

fn push(tables: Option<Vec<Table>>, table: Option<Table>) -> Option<Vec<Table>> {
    let (mut tables, table) = (tables?, table?);
    tables.push(table);
    Some(tables)
}

/// One table; `None` where its rows are no prefix code in this reading of the base codes.
fn read_table(mut rows: Cursor, is_reversed: bool) -> Result<Option<Table>> {
    let mut codes = Vec::with_capacity(rows.left() / CODE_BYTES);
    while rows.left() > 0 {
        let place = rows.clone();
        let (prefix_bits, all_bits, mode) = (rows.u8()?, rows.u8()?, rows.u8()?);
        let (base, base_code) = (rows.i16()?, rows.u32()?);
        let extra_bits = all_bits.checked_sub(prefix_bits);
        let Some(extra_bits) = extra_bits.filter(|extra| (1..=32).contains(&prefix_bits) && *extra <= 32)
        else {
            let found = format!("{prefix_bits} and {all_bits} bits");
            return Err(place.malformed(
                "a code's prefix and length",
                found,
                "1 to 32 bits and at most 32 more",
            ));
        };
        let free = 32 - u32::from(prefix_bits);
        let prefix = if is_reversed { base_code.reverse_bits() } else { base_code << free };
        let behind = if is_reversed { prefix.reverse_bits() } else { base_code };
        if free > 0 && behind >> prefix_bits != 0 {
            return Ok(None);
        }
        codes.push(Code { prefix, prefix_bits, extra_bits, is_switch: mode == 0, base });
    }
    Ok(Table::new(codes))
}

/// The body of section 2 for the default table.
pub(crate) fn write_default_table() -> Vec<u8> {
    DEFAULT_TABLE.to_le_bytes().to_vec()
}

/// The default table's shortest codes of the values -128 to 127, by the value's low byte.
static SHORT_CODES: [(u32, u32); 256] = {
    let mut codes = [(0, 0); 256];
    let mut index = 0;
    while index < 256 {
        codes[index as usize] = default_code(if index < 128 { index } else { index - 256 });
        index += 1;
    }
    codes
};

/// The bits that the default table spends on a value; `None` for more than 16 bits.
#[inline]
pub(crate) fn default_cost(value: i32) -> Option<u32> {
    if i8::try_from(value).is_ok() {
        Some(SHORT_CODES[(value.cast_unsigned() & 0xFF) as usize].1)
    } else {
        i16::try_from(value).is_ok().then_some(ESCAPE_PREFIX_BITS + 16)
    }
}

/// The default table's shortest code for a value of at most 16 bits, and its length.
const fn default_code(value: i32) -> (u32, u32) {
    match value.unsigned_abs() {
        0 => (0, 1),
        magnitude @ 1..=LARGEST_CODED => {
            let ones = (1 << magnitude) - 1;
            ((ones << 2) | (value < 0) as u32, magnitude + 2)
        }
        _ if value >= -128 && value <= 127 => {
            ((ESCAPE_8 << 8) | (value.cast_unsigned() & 0xFF), ESCAPE_PREFIX_BITS + 8)
        }
        _ => ((ESCAPE_16 << 16) | (value.cast_unsigned() & 0xFFFF), ESCAPE_PREFIX_BITS + 16),
    }
}

/// Values of at most 16 bits in the default table's shortest codes; the last byte is filled with zeros.
pub(crate) fn encode_default(values: &[i32], bits: u64) -> Vec<u8> {
    let mut writer = BitWriter::with_bits(bits);
    for value in values {
        let (code, length) = if i8::try_from(*value).is_ok() {
            SHORT_CODES[(value.cast_unsigned() & 0xFF) as usize]
        } else {
            default_code(*value)
        };
        writer.push(code, length);
    }
    writer.finish()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cursor(bytes: &[u8]) -> Cursor<'_> {
        Cursor::new("r.scp", bytes).in_part("section 2", clause::HUFFMAN)
    }

    /// A step of a coder that chooses its tables: a value in the shortest code of the table in force, or a switch.
    enum Step {
        Value(i32),
        Switch(i16),
    }
    use Step::{Switch, Value};

    fn encode(tables: &Tables, steps: &[Step]) -> Vec<u8> {
        let mut writer = BitWriter::default();
        let mut table = &tables.0[0];
        for step in steps {
            let fits = |code: &&Code| match *step {
                Switch(target) => code.is_switch && code.base == target,
                Value(value) if code.is_switch => value == i32::MAX,
                Value(value) if code.extra_bits == 0 => i32::from(code.base) == value,
                Value(value) => {
                    let half = 1 << (code.extra_bits - 1);
                    (-half..half).contains(&value)
                }
            };
            let code = table.codes.iter().filter(fits).min_by_key(|code| code.prefix_bits + code.extra_bits);
            let code = code.expect("the table has a code for the step");
            writer.push(code.prefix >> (32 - u32::from(code.prefix_bits)), code.prefix_bits.into());
            match *step {
                Switch(target) => table = &tables.0[usize::from(target.unsigned_abs()) - 1],
                Value(value) if code.extra_bits > 0 => {
                    writer.push(value.cast_unsigned(), code.extra_bits.into())
                }
                Value(_) => {}
            }
        }
        writer.finish()
    }

    /// The two tables of the fact sheet's worked example (computed there, not published).
    const TWO_TABLES: &[u8] = &[
        2, 0, // tables
        7, 0, // codes of table 1
        1, 1, 1, 0, 0, 0, 0, 0, 0, // 0: value 0
        3, 3, 1, 1, 0, 1, 0, 0, 0, // 100: value 1
        3, 3, 1, 0xff, 0xff, 5, 0, 0, 0, // 101: value -1
        4, 4, 1, 2, 0, 3, 0, 0, 0, // 1100: value 2
        4, 4, 1, 0xfe, 0xff, 0x0b, 0, 0, 0, // 1101: value -2
        4, 4, 0, 2, 0, 7, 0, 0, 0, // 1110: go on with table 2
        4, 20, 1, 0, 0, 0x0f, 0, 0, 0, // 1111 and 16 bits
        4, 0, // codes of table 2
        2, 8, 1, 0, 0, 0, 0, 0, 0, // 00 and 6 bits
        2, 12, 1, 0, 0, 2, 0, 0, 0, // 01 and 10 bits
        2, 2, 0, 1, 0, 1, 0, 0, 0, // 10: go on with table 1
        2, 18, 1, 0, 0, 3, 0, 0, 0, // 11 and 16 bits
    ];

    #[test]
    fn the_worked_example_with_two_tables_decodes_and_encodes() {
        let (tables, is_direct) = read_tables(cursor(TWO_TABLES)).unwrap();
        assert!(!is_direct);
        let bytes = [0x70, 0x09, 0xF2, 0x14, 0x3E, 0xC2, 0x96, 0x4E, 0x00, 0x00, 0xEC, 0x78, 0x00];
        let values = [0, 1, -2, 40, -40, 300, 0, 0, 0, -20_000];
        let decoded = tables.decode(&bytes, values.len());
        assert_eq!((decoded.values.as_slice(), decoded.stop), (&values[..], None));
        let mut steps: Vec<Step> = values.iter().map(|value| Value(*value)).collect();
        steps.insert(7, Switch(2));
        steps.insert(6, Switch(1));
        steps.insert(1, Switch(2));
        assert_eq!(encode(&tables, &steps), bytes);
    }

    #[test]
    fn the_worked_examples_of_the_default_table_decode_and_encode() {
        let examples: [(&[i32], &[u8]); 2] = [
            (&[3, 4, 1, -3, 1, -25], &[0xE7, 0x93, 0xB3, 0xFE, 0xE7]),
            (&[0, 0, 1, 198, -200, 0], &[0x27, 0xFE, 0x01, 0x8D, 0xFF, 0xFF, 0x9C, 0x00]),
        ];
        for (values, bytes) in examples {
            let decoded = Tables::default_table().decode(bytes, values.len());
            assert_eq!((decoded.values.as_slice(), decoded.stop), (values, None));
            let bits = values.iter().map(|value| u64::from(default_cost(*value).unwrap())).sum();
            assert_eq!(encode_default(values, bits), bytes);
        }
    }

    #[test]
    fn the_default_table_has_nineteen_codes_that_fill_the_code_space() {
        // Kraft's sum of a complete prefix code is 1 (McMillan 1956).
        let codes = &DEFAULT.0[0].codes;
        assert_eq!(codes.len(), 19);
        let sum: u64 = codes.iter().map(|code| 1 << (32 - u32::from(code.prefix_bits))).sum();
        assert_eq!(sum, 1 << 32);
    }

    #[test]
    fn every_16_bit_value_comes_back_and_costs_what_it_is_said_to_cost() {
        let values: Vec<i32> = (i32::from(i16::MIN)..=i32::from(i16::MAX)).collect();
        let bits: u64 = values.iter().map(|value| u64::from(default_cost(*value).unwrap())).sum();
        let bytes = encode_default(&values, bits);
        assert_eq!(bytes.len() as u64, bits.div_ceil(8));
        assert_eq!(Tables::default_table().decode(&bytes, values.len()).values, values);
        assert_eq!(default_cost(32_768), None);
        let short = Tables::default_table().decode(&bytes[..1000], values.len());
        assert!(short.stop.unwrap().contains("ends"));
        assert_eq!(short.values, values[..short.values.len()]);
    }

    #[test]
    fn long_prefixes_and_wide_values_are_decoded() {
        // one code of 32 ones followed by 32 bits, one of a single zero
        let mut body = vec![1, 0, 2, 0, 1, 1, 1, 9, 0, 0, 0, 0, 0, 32, 64, 1, 0, 0];
        body.extend(u32::MAX.to_le_bytes());
        let (tables, _) = read_tables(cursor(&body)).unwrap();
        let bytes = [0x7F, 0xFF, 0xFF, 0xFF, 0x80, 0, 0, 0, 0xFF, 0xFF];
        let decoded = tables.decode(&bytes, 3);
        assert_eq!(decoded.values[..2], [9, 1]);
        assert!(decoded.stop.is_some());
        assert_eq!(
            tables.decode(&[0x80, 0, 0, 0, 0], 1).stop,
            Some("no code of the table begins with these bits")
        );
    }

    #[test]
    fn prefixes_that_stand_first_bit_first_are_recognised() {
        // 0, 10, 110 and 111 with their first bit first: read the other way round, 011 begins with 0
        let row = |bits: u8, base: u8, code: u8| [bits, bits, 1, base, 0, code, 0, 0, 0];
        let rows = [row(1, 0, 0), row(2, 1, 0b10), row(3, 2, 0b110), row(3, 3, 0b111)].concat();
        let (tables, is_direct) = read_tables(cursor(&[&[1, 0, 4, 0], rows.as_slice()].concat())).unwrap();
        assert!(is_direct);
        assert_eq!(tables.decode(&[0b0101_1011, 0b1000_0000], 4).values, [0, 1, 2, 3]);
    }

    #[test]
    fn tables_that_are_no_code_are_refused_with_a_place() {
        let twice = [1, 0, 2, 0, 1, 1, 1, 0, 0, 0, 0, 0, 0, 1, 1, 1, 1, 0, 0, 0, 0, 0];
        let long = [1, 0, 1, 0, 33, 33, 1, 0, 0, 0, 0, 0, 0];
        let cut = [1, 0, 9, 0, 1, 1, 1, 0, 0, 0, 0, 0, 0];
        for (bytes, kind) in [
            (&[0, 0][..], Kind::Malformed),
            (&twice, Kind::Malformed),
            (&long, Kind::Malformed),
            (&cut, Kind::Truncated),
            (&[0xFF, 0xFF], Kind::Limit),
        ] {
            let error = read_tables(cursor(bytes)).err().unwrap();
            assert_eq!(error.kind(), kind, "{error}");
            assert!(error.place().byte.is_some());
        }
    }
}
