//! How wide text is: advance widths of a common sans serif, so that text can be set without a font at hand.
//!
//! The numbers for ASCII are those of the Adobe font metrics (AFM) of Helvetica and Helvetica Bold, which Arial and
//! Liberation Sans share (from memory; checked against Liberation Sans in the reference tests). The drawn
//! text is fitted into the measured width, so another font is condensed or spread, never overlaps.

use crate::{Mm, Weight};

/// Advance widths in thousandths of the em for U+0020 to U+007E, regular.
#[rustfmt::skip]
const REGULAR: [u16; 95] = [
    278, 278, 355, 556, 556, 889, 667, 191, 333, 333, 389, 584, 278, 333, 278, 278,
    556, 556, 556, 556, 556, 556, 556, 556, 556, 556, 278, 278, 584, 584, 584, 556,
    1015, 667, 667, 722, 722, 667, 611, 778, 722, 278, 500, 667, 556, 833, 722, 778,
    667, 778, 722, 667, 611, 722, 667, 944, 667, 667, 611, 278, 278, 278, 469, 556,
    333, 556, 556, 500, 556, 556, 278, 556, 556, 222, 222, 500, 222, 833, 556, 556,
    556, 556, 333, 500, 278, 556, 500, 722, 500, 500, 500, 334, 260, 334, 584,
];

/// The same for bold.
#[rustfmt::skip]
const BOLD: [u16; 95] = [
    278, 333, 474, 556, 556, 889, 722, 238, 333, 333, 389, 584, 278, 333, 278, 278,
    556, 556, 556, 556, 556, 556, 556, 556, 556, 556, 333, 333, 584, 584, 584, 611,
    975, 722, 722, 722, 722, 667, 611, 778, 722, 278, 556, 722, 611, 833, 722, 778,
    667, 778, 722, 667, 611, 722, 667, 944, 667, 667, 611, 333, 278, 333, 584, 556,
    333, 556, 611, 556, 611, 556, 333, 611, 611, 278, 278, 556, 278, 889, 611, 611,
    611, 611, 389, 556, 333, 611, 556, 778, 556, 556, 500, 389, 280, 389, 584,
];

/// The width of a text on one line.
pub(crate) fn width(text: &str, size: Mm, weight: Weight) -> Mm {
    let thousandths: i64 = text.chars().map(|c| i64::from(advance(c, weight))).sum();
    let length = (thousandths * i64::from(size.0)).div_euclid(1000);
    Mm(i32::try_from(length).unwrap_or(i32::MAX / 4))
}

/// The advance width of one character in thousandths of the em.
fn advance(c: char, weight: Weight) -> u16 {
    let table = match weight {
        Weight::Regular => &REGULAR,
        Weight::Bold => &BOLD,
    };
    match c {
        ' '..='~' => table[usize::try_from(u32::from(c) - 0x20).unwrap_or(0)],
        '\u{a0}' | '·' | '‘' | '’' => 278,
        '–' | 'µ' | 'μ' => 556,
        '°' => 400,
        '±' | '×' | '÷' | '−' | '≤' | '≥' => 584,
        '—' | '…' | '→' | '▲' | '▼' => 1000,
        // Combining marks stand on the letter before them.
        '\u{300}'..='\u{36f}' | '\u{200c}' | '\u{200d}' | '\u{fe00}'..='\u{fe0f}' => 0,
        // Latin letters with marks: as wide as the widest letter without.
        '\u{c0}'..='\u{24f}' | '\u{1e00}'..='\u{1eff}' => {
            if c.is_uppercase() {
                760
            } else {
                600
            }
        }
        // Full-width scripts and pictures fill the em.
        '\u{1100}'..='\u{115f}'
        | '\u{2e80}'..='\u{d7a3}'
        | '\u{f900}'..='\u{faff}'
        | '\u{fe30}'..='\u{fe4f}'
        | '\u{ff00}'..='\u{ff60}'
        | '\u{1f000}'..='\u{3fffd}' => 1000,
        // Greek and Cyrillic.
        '\u{370}'..='\u{52f}' => {
            if c.is_uppercase() {
                720
            } else {
                570
            }
        }
        // Hebrew, Arabic and the scripts between them.
        '\u{590}'..='\u{8ff}' => 520,
        _ => 650,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits_are_of_one_width_so_that_figures_line_up() {
        assert!(('0'..='9').all(|c| advance(c, Weight::Regular) == 556 && advance(c, Weight::Bold) == 556));
    }

    #[test]
    fn a_width_is_the_sum_of_its_advances() {
        // H 722, a 556, m 833: 2.111 em of 4 mm.
        assert_eq!(width("Ham", Mm::whole(4), Weight::Regular), Mm(8_444));
        assert_eq!(width("e\u{301}", Mm::whole(1), Weight::Regular), Mm(556));
        assert_eq!(width("心電図", Mm::whole(2), Weight::Regular), Mm::whole(6));
    }
}
