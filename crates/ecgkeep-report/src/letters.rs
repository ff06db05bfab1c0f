//! Letters that every font of the page has, and what stands for the others.
//!
//! An SVG or HTML page is drawn with the reader's fonts, a PDF with the fonts it embeds; what these lack shows as U+FFFD
//! there. So that a name is not lost with its letters, the page states them by their numbers in Unicode.

/// What both faces of DejaVu Sans Condensed 2.37 have, as far as names and words of the page need it (their tables
/// `cmap`; a test holds the list to the fonts): first and last code point.
const KNOWN: &[(char, char)] = &[
    // Latin, marks, Greek, Cyrillic.
    (' ', '~'),
    ('\u{a0}', '\u{2e9}'),
    ('\u{300}', '\u{34f}'),
    ('\u{370}', '\u{377}'),
    ('\u{37a}', '\u{37f}'),
    ('\u{384}', '\u{38a}'),
    ('\u{38c}', '\u{38c}'),
    ('\u{38e}', '\u{3a1}'),
    ('\u{3a3}', '\u{525}'),
    // Armenian, Hebrew, Arabic, Georgian.
    ('\u{531}', '\u{556}'),
    ('\u{559}', '\u{55f}'),
    ('\u{561}', '\u{587}'),
    ('\u{5b0}', '\u{5c3}'),
    ('\u{5d0}', '\u{5ea}'),
    ('\u{5f0}', '\u{5f4}'),
    ('\u{60c}', '\u{60c}'),
    ('\u{61b}', '\u{61b}'),
    ('\u{61f}', '\u{61f}'),
    ('\u{621}', '\u{63a}'),
    ('\u{640}', '\u{655}'),
    ('\u{660}', '\u{670}'),
    ('\u{679}', '\u{6bf}'),
    ('\u{6cc}', '\u{6cc}'),
    ('\u{6f0}', '\u{6f9}'),
    ('\u{10a0}', '\u{10c5}'),
    ('\u{10d0}', '\u{10fc}'),
    // Further Latin, with the letters of Vietnamese, and Greek with marks.
    ('\u{1e00}', '\u{1efb}'),
    ('\u{1f00}', '\u{1f15}'),
    ('\u{1f20}', '\u{1f45}'),
    // Dashes, quotation marks, signs.
    ('\u{2010}', '\u{2015}'),
    ('\u{2018}', '\u{201e}'),
    ('\u{2020}', '\u{2022}'),
    ('\u{2026}', '\u{2026}'),
    ('\u{2030}', '\u{2030}'),
    ('\u{20ac}', '\u{20ac}'),
    ('\u{2190}', '\u{2193}'),
    ('\u{2212}', '\u{2212}'),
    ('\u{2260}', '\u{2260}'),
    ('\u{2264}', '\u{2265}'),
    ('\u{25b2}', '\u{25b2}'),
    ('\u{25bc}', '\u{25bc}'),
    ('\u{fffd}', '\u{fffd}'),
];

/// Letters whose numbers are given at most.
const MOST: usize = 60;

/// Whether every font of the page has all letters of a text.
pub(crate) fn are_known(text: &str) -> bool {
    text.chars().all(is_known)
}

/// The letters of a text that not every font has, in its order: `U+5FC3 U+96FB`; empty where there are none.
pub(crate) fn in_unicode(text: &str) -> String {
    let unknown: Vec<String> =
        text.chars().filter(|c| !is_known(*c)).map(|c| format!("U+{:04X}", u32::from(c))).collect();
    match unknown.len().checked_sub(MOST) {
        Some(more @ 1..) => format!("{} and {more} more", unknown[..MOST].join(" ")),
        _ => unknown.join(" "),
    }
}

fn is_known(c: char) -> bool {
    let after = KNOWN.partition_point(|(_, last)| *last < c);
    KNOWN.get(after).is_some_and(|(first, _)| *first <= c)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_list_is_sorted() {
        assert!(KNOWN.iter().all(|(first, last)| first <= last));
        assert!(KNOWN.windows(2).all(|pair| pair[0].1 < pair[1].0));
    }

    #[cfg(feature = "pdf")]
    #[test]
    fn the_embedded_fonts_have_every_letter_of_the_list() {
        for bytes in [dejavu::sans_condensed::regular(), dejavu::sans_condensed::bold()] {
            let face = rustybuzz::Face::from_slice(bytes, 0).expect("a font");
            for c in KNOWN.iter().flat_map(|(first, last)| *first..=*last) {
                assert!(face.glyph_index(c).is_some_and(|glyph| glyph.0 != 0), "U+{:04X}", u32::from(c));
            }
        }
    }

    #[test]
    fn what_not_every_font_has_is_named_by_its_number() {
        for known in ["Wren Aldous", "Ángela Müller-Żółć", "Иванов", "Ελένη", "أحمد", "Nguyễn", "−±µ°·…"]
        {
            assert!(are_known(known), "{known}");
        }
        assert_eq!(in_unicode("Sato 心電図"), "U+5FC3 U+96FB U+56F3");
        assert_eq!(in_unicode("😀"), "U+1F600");
        assert!(in_unicode(&"心".repeat(75)).ends_with("U+5FC3 and 15 more"));
    }
}
