//! Setting text in the fonts that a PDF embeds.

use std::ops::Range;

use krilla::geom::{Point, Transform};
use krilla::surface::Surface;
use krilla::text::{Font, GlyphId, KrillaGlyph};
use rustybuzz::{Direction, Face, UnicodeBuffer};

use crate::pdf::units;
use crate::{Anchor, Text, Weight};

/// The two faces of the page, each as what is embedded and as what is shaped with.
pub(crate) struct Typefaces {
    regular: (Font, Face<'static>),
    bold: (Font, Face<'static>),
}

impl Typefaces {
    /// `None` where the fonts cannot be read.
    pub fn new() -> Option<Typefaces> {
        let face = |bytes: &'static [u8]| Some((Font::new(bytes.into(), 0)?, Face::from_slice(bytes, 0)?));
        Some(Typefaces {
            regular: face(dejavu::sans_condensed::regular())?,
            bold: face(dejavu::sans_condensed::bold())?,
        })
    }

    /// Draws a line of text, spread or condensed to the width that the sheet gives it.
    pub fn draw(&self, surface: &mut Surface, text: &Text) {
        let (font, face) = match text.weight {
            Weight::Regular => &self.regular,
            Weight::Bold => &self.bold,
        };
        let content = with_known_glyphs(&text.text, face);
        let pieces: Vec<(&str, Vec<KrillaGlyph>)> = directions(&content)
            .into_iter()
            .map(|(piece, direction)| (piece, shape(face, piece, direction)))
            .collect();
        let size = units(text.size);
        let natural: f32 =
            pieces.iter().flat_map(|(_, glyphs)| glyphs).map(|glyph| glyph.x_advance).sum::<f32>() * size;
        if natural <= 0.0 {
            return;
        }
        let width = units(text.width);
        let left = units(text.at.x)
            - match text.anchor {
                Anchor::Start => 0.0,
                Anchor::Middle => width / 2.0,
                Anchor::End => width,
            };
        surface.push_transform(&Transform::from_row(width / natural, 0.0, 0.0, 1.0, left, units(text.at.y)));
        let mut x = 0.0;
        for (piece, glyphs) in &pieces {
            surface.draw_glyphs(Point::from_xy(x, 0.0), glyphs, font.clone(), piece, size, false);
            x += glyphs.iter().map(|glyph| glyph.x_advance).sum::<f32>() * size;
        }
        surface.pop();
    }
}

/// The text with each character that the font does not have replaced by U+FFFD, so that it is missed visibly.
fn with_known_glyphs(text: &str, face: &Face) -> String {
    text.chars()
        .map(|c| {
            if face.glyph_index(c).is_some_and(|glyph| glyph.0 != 0) {
                c
            } else {
                char::REPLACEMENT_CHARACTER
            }
        })
        .collect()
}

/// The text in pieces of one writing direction each, in the order in which they stand on a page read from the left.
fn directions(text: &str) -> Vec<(&str, Direction)> {
    let mut pieces: Vec<(Range<usize>, Direction)> = Vec::new();
    for (at, c) in text.char_indices() {
        let end = at + c.len_utf8();
        let is_right_to_left =
            matches!(c, '\u{590}'..='\u{8ff}' | '\u{fb1d}'..='\u{fdff}' | '\u{fe70}'..='\u{feff}');
        let direction = if is_right_to_left { Direction::RightToLeft } else { Direction::LeftToRight };
        match pieces.last_mut() {
            Some((range, last)) if *last == direction => range.end = end,
            _ => pieces.push((at..end, direction)),
        }
    }
    pieces.into_iter().map(|(range, direction)| (&text[range], direction)).collect()
}

/// The glyphs of a piece in the order in which they stand, their advances in parts of the em.
#[expect(clippy::cast_precision_loss, reason = "font units are a few thousand at most")]
fn shape(face: &Face, piece: &str, direction: Direction) -> Vec<KrillaGlyph> {
    let mut buffer = UnicodeBuffer::new();
    buffer.push_str(piece);
    buffer.guess_segment_properties();
    buffer.set_direction(direction);
    let shaped = rustybuzz::shape(face, &[], buffer);
    let em = face.units_per_em() as f32;
    let starts: Vec<usize> = shaped.glyph_infos().iter().map(|info| info.cluster as usize).collect();
    let mut borders = starts.clone();
    borders.push(piece.len());
    borders.sort_unstable();
    let end_of = |start: usize| borders.iter().copied().find(|border| *border > start).unwrap_or(piece.len());
    shaped
        .glyph_infos()
        .iter()
        .zip(shaped.glyph_positions())
        .zip(starts)
        .map(|((info, position), start)| {
            KrillaGlyph::new(
                GlyphId::new(info.glyph_id),
                position.x_advance as f32 / em,
                position.x_offset as f32 / em,
                position.y_offset as f32 / em,
                position.y_advance as f32 / em,
                start..end_of(start),
                None,
            )
        })
        .collect()
}
