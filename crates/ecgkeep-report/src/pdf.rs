//! Writing a sheet as PDF/A-2u (ISO 19005-2): only what the sheet decided.
//!
//! The file embeds the parts of two fonts that it uses (DejaVu Sans Condensed) and carries Unicode for every
//! glyph, so that its text can be searched and copied. Conformance rests on krilla's own checks at export; no
//! independent validator has been run.

use std::fmt;

use ecgkeep_recording::CivilTime;
use krilla::color::rgb;
use krilla::configure::{Archival, ConfigurationBuilder};
use krilla::geom::{Path, PathBuilder, Rect, Transform};
use krilla::metadata::{DateTime, Metadata};
use krilla::page::PageSettings;
use krilla::paint::{Fill, FillRule, LineCap, LineJoin, Stroke};
use krilla::surface::Surface;
use krilla::{Document, SerializeSettings};

use crate::typeface::Typefaces;
use crate::{Ink, Mm, Page, Point, Rectangle, Shape, Sheet};

/// Points of a PDF to the millimetre (ISO 32000-1, 8.3.2.3: 72 to the inch).
const POINTS: f32 = 72.0 / 25.4;
/// The page is drawn in thousandths of a millimetre: whole numbers are exact, short, and quick to write.
const UNIT: f32 = POINTS / 1000.0;

/// Why a sheet could not be written as PDF/A.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NotAPdf(String);

impl fmt::Display for NotAPdf {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "the report could not be written as PDF/A-2u: {}", self.0)
    }
}

impl std::error::Error for NotAPdf {}

/// All pages of a sheet as one PDF/A-2u file, made at this time of the caller's clock (1970 where it has no date).
/// The same sheet and time give the same bytes.
/// # Errors
/// [`NotAPdf`] where the rules of PDF/A cannot be kept.
pub fn pdf(sheet: &Sheet, made: &CivilTime) -> Result<Vec<u8>, NotAPdf> {
    let failed = |reason: &dyn fmt::Debug| NotAPdf(format!("{reason:?}"));
    let configuration = ConfigurationBuilder::new()
        .with_archival_validator(Archival::A2_U)
        .finish()
        .map_err(|reason| failed(&reason))?;
    let settings = SerializeSettings { configuration, ..SerializeSettings::default() };
    let mut document = Document::new_with(settings);
    document.set_metadata(metadata(sheet, made));
    let faces = Typefaces::new().ok_or_else(|| NotAPdf("its fonts could not be read".to_owned()))?;
    let size = PageSettings::from_wh(units(sheet.width) * UNIT, units(sheet.height) * UNIT)
        .ok_or_else(|| NotAPdf("a page without width or height".to_owned()))?;
    for page in &sheet.pages {
        let mut paper = document.start_page_with(size.clone());
        let mut surface = paper.surface();
        draw_page(&mut surface, page, &faces);
        surface.finish();
        paper.finish();
    }
    document.finish().map_err(|reason| failed(&reason))
}

/// What a catalogue reads. The document's id is made of all that the pages say, so that equal reports have equal
/// ids and others do not.
fn metadata(sheet: &Sheet, made: &CivilTime) -> Metadata {
    let mut id = sheet.description.clone();
    for shape in sheet.pages.iter().flat_map(|page| &page.shapes) {
        if let Shape::Text(text) = shape {
            id.push('\n');
            id.push_str(&text.text);
        }
    }
    Metadata::new()
        .title(sheet.title.clone())
        .description(sheet.description.clone())
        .language(sheet.language.to_owned())
        .creator("ecgkeep".to_owned())
        .creation_date(date(made))
        .document_id(id)
}

fn date(made: &CivilTime) -> DateTime {
    let Some(day) = made.date else { return DateTime::new(1970).month(1).day(1).utc_offset_hour(0) };
    let year = u16::try_from(day.year()).unwrap_or(1970);
    let mut date = DateTime::new(year).month(day.month().unwrap_or(1)).day(day.day().unwrap_or(1));
    if let Some(time) = made.time {
        date = date.hour(time.hour()).minute(time.minute().unwrap_or(0)).second(time.second().unwrap_or(0));
    }
    let offset = made.offset_minutes.unwrap_or(0);
    let hours = i8::try_from(offset / 60).unwrap_or(0);
    let minutes = u8::try_from((offset % 60).unsigned_abs()).unwrap_or(0);
    date.utc_offset_hour(hours).utc_offset_minute(minutes)
}

fn draw_page(surface: &mut Surface, page: &Page, faces: &Typefaces) {
    surface.push_transform(&Transform::from_scale(UNIT, UNIT));
    for shape in &page.shapes {
        draw(surface, shape, faces);
    }
    surface.pop();
}

fn draw(surface: &mut Surface, shape: &Shape, faces: &Typefaces) {
    match shape {
        Shape::Lines { lines, stroke, ink, .. } => {
            let mut builder = PathBuilder::new();
            for (from, to) in lines {
                move_to(&mut builder, *from);
                line_to(&mut builder, *to);
            }
            stroke_path(surface, builder.finish(), units(*stroke), *ink, LineCap::Butt);
        }
        Shape::Path { runs, stroke, ink, .. } => draw_tracing(surface, runs, *stroke, *ink),
        Shape::Polygon { corners, ink } => {
            let mut builder = PathBuilder::new();
            trace(&mut builder, corners);
            builder.close();
            let fill = Fill { paint: colour(*ink).into(), ..Fill::default() };
            surface.set_stroke(None);
            surface.set_fill(Some(fill));
            if let Some(path) = builder.finish() {
                surface.draw_path(&path);
            }
        }
        Shape::Text(text) => {
            let fill = Fill { paint: colour(text.ink).into(), ..Fill::default() };
            surface.set_stroke(None);
            surface.set_fill(Some(fill));
            faces.draw(surface, text);
        }
        Shape::Inside { clip, shapes } => {
            let Some(area) = rectangle(*clip) else { return };
            surface.push_clip_path(&area, &FillRule::NonZero);
            for shape in shapes {
                draw(surface, shape, faces);
            }
            surface.pop();
        }
    }
}

/// A tracing, counted from its own first point and, where all of it stands in whole hundredths of a millimetre from
/// there, in these: shorter numbers, which are quicker to compress, for the same places.
fn draw_tracing(surface: &mut Surface, runs: &[Vec<Point>], stroke: Mm, ink: Ink) {
    let Some(first) = runs.iter().flatten().next().copied() else { return };
    let from_first = |point: Point| Point { x: point.x - first.x, y: point.y - first.y };
    let is_in_tens = |point: Point| point.x.0 % 10 == 0 && point.y.0 % 10 == 0;
    let has_dots = runs.iter().any(|run| run.len() == 1);
    let in_tens = !has_dots && runs.iter().flatten().all(|point| is_in_tens(from_first(*point)));
    let (divisor, scale) = if in_tens { (10, 10.0) } else { (1, 1.0) };
    let mut builder = PathBuilder::new();
    for run in runs {
        let places = run.iter().map(|point| from_first(*point));
        let places: Vec<Point> =
            places.map(|point| Point { x: point.x.over(divisor), y: point.y.over(divisor) }).collect();
        trace(&mut builder, &places);
    }
    let cap = if has_dots { LineCap::Round } else { LineCap::Butt };
    surface.push_transform(&Transform::from_row(scale, 0.0, 0.0, scale, units(first.x), units(first.y)));
    stroke_path(surface, builder.finish(), units(stroke) / scale, ink, cap);
    surface.pop();
}

/// A run of points; a single one as a line too short to see, which a round cap makes a dot.
fn trace(builder: &mut PathBuilder, run: &[Point]) {
    let Some((first, rest)) = run.split_first() else { return };
    move_to(builder, *first);
    if rest.is_empty() {
        line_to(builder, Point { x: first.x + Mm(1), y: first.y });
    }
    for point in rest {
        line_to(builder, *point);
    }
}

fn move_to(builder: &mut PathBuilder, point: Point) {
    builder.move_to(units(point.x), units(point.y));
}

fn line_to(builder: &mut PathBuilder, point: Point) {
    builder.line_to(units(point.x), units(point.y));
}

/// Strokes a path, its width in the units in which it is drawn.
fn stroke_path(surface: &mut Surface, path: Option<Path>, width: f32, ink: Ink, line_cap: LineCap) {
    let Some(path) = path else { return };
    let stroke = Stroke {
        paint: colour(ink).into(),
        width,
        line_cap,
        line_join: LineJoin::Round,
        ..Stroke::default()
    };
    surface.set_fill(None);
    surface.set_stroke(Some(stroke));
    surface.draw_path(&path);
}

fn rectangle(area: Rectangle) -> Option<Path> {
    let [left, top, right, bottom] = [area.left, area.top, area.right, area.bottom].map(units);
    let mut builder = PathBuilder::new();
    builder.push_rect(Rect::from_ltrb(left, top, right, bottom)?);
    builder.finish()
}

fn colour(ink: Ink) -> rgb::Color {
    let [red, green, blue] = ink.rgb();
    rgb::Color::new(red, green, blue)
}

/// A length in the units of the drawing; exact on a page, and up to 16 m.
#[expect(clippy::cast_precision_loss, reason = "a page is far below 2^24 thousandths of a millimetre")]
pub(crate) fn units(length: Mm) -> f32 {
    length.0 as f32
}
