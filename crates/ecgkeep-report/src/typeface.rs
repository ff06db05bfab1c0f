//! Setting text in the fonts that a PDF embeds.

use std::cell::RefCell;
use std::ops::Range;
use std::sync::OnceLock;

use krilla::geom::{Point, Transform};
use krilla::surface::Surface;
use krilla::text::{Font, GlyphId, KrillaGlyph};
use rustybuzz::{Direction, Face, GlyphBuffer, Script, ShapePlan, UnicodeBuffer, script};

use crate::pdf::units;
use crate::{Anchor, Text, Weight};

/// A face as what is embedded and as what is shaped with; the same for every document.
type Read = (Font, Face<'static>);

/// The regular face and the bold one, read once.
static FACES: OnceLock<Option<[Read; 2]>> = OnceLock::new();

/// The two faces of the page for one document.
pub(crate) struct Typefaces {
    regular: Typeface,
    bold: Typeface,
}

/// A face, and how it shapes each script and direction that the document has used so far.
struct Typeface {
    font: &'static Font,
    face: &'static Face<'static>,
    plans: RefCell<Vec<(Direction, Script, ShapePlan)>>,
}

impl Typefaces {
    /// `None` where the fonts cannot be read.
    pub fn new() -> Option<Typefaces> {
        let read = |bytes: &'static [u8]| Some((Font::new(bytes.into(), 0)?, Face::from_slice(bytes, 0)?));
        let both = || Some([read(dejavu::sans_condensed::regular())?, read(dejavu::sans_condensed::bold())?]);
        let [regular, bold] = FACES.get_or_init(both).as_ref()?;
        let typeface = |(font, face): &'static Read| Typeface { font, face, plans: RefCell::default() };
        Some(Typefaces { regular: typeface(regular), bold: typeface(bold) })
    }

    /// Draws a line of text, spread or condensed to the width that the sheet gives it.
    pub fn draw(&self, surface: &mut Surface, text: &Text) {
        let typeface = match text.weight {
            Weight::Regular => &self.regular,
            Weight::Bold => &self.bold,
        };
        let content = with_known_glyphs(&text.text, typeface.face);
        let pieces: Vec<(&str, Vec<KrillaGlyph>)> = directions(&content)
            .into_iter()
            .map(|(piece, direction)| (piece, typeface.shape(piece, direction)))
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
            surface.draw_glyphs(Point::from_xy(x, 0.0), glyphs, typeface.font.clone(), piece, size, false);
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

impl Typeface {
    /// The glyphs of a piece in the order in which they stand, their advances in parts of the em.
    #[expect(clippy::cast_precision_loss, reason = "font units are a few thousand at most")]
    fn shape(&self, piece: &str, direction: Direction) -> Vec<KrillaGlyph> {
        let mut buffer = UnicodeBuffer::new();
        buffer.push_str(piece);
        buffer.guess_segment_properties();
        buffer.set_direction(direction);
        let shaped = self.shaped(buffer);
        let em = self.face.units_per_em() as f32;
        let starts: Vec<usize> = shaped.glyph_infos().iter().map(|info| info.cluster as usize).collect();
        let mut borders = starts.clone();
        borders.push(piece.len());
        borders.sort_unstable();
        let end_of = |start: usize| {
            borders.get(borders.partition_point(|border| *border <= start)).copied().unwrap_or(piece.len())
        };
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

    /// Shapes with the plan for the script and direction of the buffer; a plan costs more than a line, so it is kept.
    fn shaped(&self, buffer: UnicodeBuffer) -> GlyphBuffer {
        let (direction, script) = (buffer.direction(), buffer.script());
        let mut plans = self.plans.borrow_mut();
        let known = plans.iter().position(|(of, scripts, _)| (*of, *scripts) == (direction, script));
        let at = known.unwrap_or_else(|| {
            let stated = Some(script).filter(|script| *script != script::UNKNOWN);
            plans.push((direction, script, ShapePlan::new(self.face, direction, stated, None, &[])));
            plans.len() - 1
        });
        rustybuzz::shape_with_plan(self.face, &plans[at].2, buffer)
    }
}
