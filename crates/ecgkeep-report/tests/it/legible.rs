//! Whether every text of every kept page can be read: high enough, and dark enough against whatever lies under it. The
//! files are read back; nothing is taken from the drawing code.

use ecgkeep_report::svg;

use crate::kept::sheets::sheets;
use crate::reading::{Drawing, Ground};

/// The least contrast of text (WCAG 2.2, 1.4.3, level AA, for text below 18 pt).
const LEAST_CONTRAST: f64 = 4.5;
/// The smallest type, its em in millimetres (project choice).
const LEAST_SIZE: f64 = 2.2;

/// Relative luminance of a colour such as `#121416` (WCAG 2.2).
fn luminance(colour: &str) -> f64 {
    let part = |at: usize| {
        let value = u8::from_str_radix(&colour[at..at + 2], 16).expect("two hexadecimal digits");
        let part = f64::from(value) / 255.0;
        if part <= 0.040_45 { part / 12.92 } else { ((part + 0.055) / 1.055).powf(2.4) }
    };
    0.2126 * part(1) + 0.7152 * part(3) + 0.0722 * part(5)
}

fn contrast(a: &str, b: &str) -> f64 {
    let (a, b) = (luminance(a), luminance(b));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

#[test]
fn contrast_is_that_of_the_standard() {
    // WCAG 2.2: black on white is 21 to 1; #777777 on white falls just short of 4.5 to 1 (4.48).
    assert!((contrast("#000000", "#ffffff") - 21.0).abs() < 1e-9);
    assert!((contrast("#777777", "#ffffff") - 4.48).abs() < 0.005);
}

#[test]
fn every_text_is_high_enough_and_stands_out_from_what_lies_under_it() {
    let mut on_black = 0;
    for (name, sheet) in sheets().expect("the demonstration recordings are in examples/larkmoor") {
        for page in 0..sheet.pages.len() {
            let drawing = Drawing::read(&svg(&sheet, page));
            for Ground { text, size, fill, under } in drawing.grounds() {
                assert!(size >= LEAST_SIZE, "{name}, page {}: {text:?} is {size} mm high", page + 1);
                on_black += usize::from(fill == "#ffffff");
                for under in under {
                    let found = contrast(fill, under);
                    assert!(
                        found >= LEAST_CONTRAST,
                        "{name}, page {}: {text:?} in {fill} on {under} has {found:.2} to 1",
                        page + 1
                    );
                }
            }
        }
    }
    assert!(on_black > 5, "banners were among them");
}

#[test]
fn a_pale_word_behind_the_tracings_stands_in_full_contrast_in_the_head() {
    let mut pale = 0;
    for (name, sheet) in sheets().expect("the demonstration recordings are in examples/larkmoor") {
        for page in 0..sheet.pages.len() {
            let drawing = Drawing::read(&svg(&sheet, page));
            for word in drawing.watermarks() {
                pale += 1;
                let said = drawing.grounds().any(|ground| ground.text == word && ground.fill == "#ffffff");
                assert!(said, "{name}, page {}: {word}", page + 1);
            }
        }
    }
    assert!(pale > 5, "{pale}");
}
