//! Writing a page as SVG 1.1: only what the sheet decided.

use std::fmt::Write;

use crate::{Anchor, Ink, Mm, Page, Point, Rectangle, Shape, Sheet, Text, Weight};

/// Points after which a path states a position anew, so that a reader that adds up single-precision numbers stays
/// within a thousandth of a millimetre.
const ANEW_AFTER: usize = 50;

/// One page of a sheet as an SVG file in UTF-8, one millimetre to the unit; an empty drawing of the sheet's size where
/// the sheet has no such page. Pages count from 0. Self-contained: no script, no style sheet, no reference outside.
#[must_use]
pub fn svg(sheet: &Sheet, page: usize) -> String {
    let empty = Page::default();
    let page = sheet.pages.get(page).unwrap_or(&empty);
    let mut out = String::with_capacity(256 * 1024);
    out.push_str("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n");
    write_page(&mut out, sheet, page, "");
    out
}

/// The element `svg` of a page, the names of its parts beginning with `prefix`, so that several fit into one file.
pub(crate) fn write_page(out: &mut String, sheet: &Sheet, page: &Page, prefix: &str) {
    let (width, height) = (sheet.width, sheet.height);
    let _ = writeln!(
        out,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" version=\"1.1\" width=\"{width}mm\" height=\"{height}mm\" \
         viewBox=\"0 0 {width} {height}\" lang=\"{lang}\" xml:lang=\"{lang}\" \
         font-family=\"Arial, Helvetica, sans-serif\" fill=\"none\" stroke-linejoin=\"round\">",
        lang = sheet.language,
    );
    let _ = writeln!(out, "<title>{}</title>", escape(&sheet.title));
    let _ = writeln!(out, "<desc>{} ({})</desc>", escape(&sheet.description), escape(&page.description));
    let _ = writeln!(out, "<rect width=\"{width}\" height=\"{height}\" fill=\"{}\"/>", hex(Ink::White));
    let mut pen = Pen { out, prefix, clips: 0 };
    for shape in &page.shapes {
        pen.draw(shape);
    }
    out.push_str("</svg>\n");
}

/// Where a page is written to.
struct Pen<'a> {
    out: &'a mut String,
    prefix: &'a str,
    clips: usize,
}

impl Pen<'_> {
    fn draw(&mut self, shape: &Shape) {
        let out = &mut *self.out;
        let prefix = self.prefix;
        match shape {
            Shape::Lines { id, lines, stroke, ink } => {
                let _ = write!(
                    out,
                    "<path id=\"{prefix}{}\" stroke=\"{}\" stroke-width=\"{stroke}\" d=\"",
                    escape(id),
                    hex(*ink)
                );
                for (from, to) in lines {
                    let _ = write!(out, "M{} {}L{} {}", from.x, from.y, to.x, to.y);
                }
                out.push_str("\"/>\n");
            }
            Shape::Path { id, title, runs, stroke, ink } => {
                let _ = write!(
                    out,
                    "<path id=\"{prefix}{}\" stroke=\"{}\" stroke-width=\"{stroke}\"",
                    escape(id),
                    hex(*ink)
                );
                if runs.iter().any(|run| run.len() == 1) {
                    out.push_str(" stroke-linecap=\"round\"");
                }
                out.push_str(" d=\"");
                for run in runs {
                    path_data(out, run);
                }
                let _ = writeln!(out, "\"><title>{}</title></path>", escape(title));
            }
            Shape::Polygon { corners, ink } => {
                let _ = write!(out, "<path fill=\"{}\" d=\"", hex(*ink));
                for (corner, command) in
                    corners.iter().zip(std::iter::once('M').chain(std::iter::repeat('L')))
                {
                    let _ = write!(out, "{command}{} {}", corner.x, corner.y);
                }
                out.push_str("Z\"/>\n");
            }
            Shape::Text(text) => draw_text(out, text),
            Shape::Inside { clip, shapes } => {
                self.clips += 1;
                let name = format!("{prefix}clip-{}", self.clips);
                let Rectangle { left, top, .. } = *clip;
                let _ = writeln!(
                    out,
                    "<clipPath id=\"{name}\"><rect x=\"{left}\" y=\"{top}\" width=\"{}\" height=\"{}\"/></clipPath>\n\
                 <g clip-path=\"url(#{name})\">",
                    clip.width(),
                    clip.height(),
                );
                for shape in shapes {
                    self.draw(shape);
                }
                self.out.push_str("</g>\n");
            }
        }
    }
}

/// A run: its first point, then steps from point to point in exact thousandths; every so often a position anew.
fn path_data(out: &mut String, run: &[Point]) {
    for (index, point) in run.iter().enumerate() {
        match index {
            0 => {
                let _ = write!(out, "M{} {}", point.x, point.y);
                if run.len() == 1 {
                    out.push_str("h0");
                }
            }
            _ if index % ANEW_AFTER == 0 => {
                out.push('L');
                coordinate(out, point.x, false);
                coordinate(out, point.y, true);
            }
            _ => {
                let before = run[index - 1];
                if index % ANEW_AFTER == 1 {
                    out.push('l');
                }
                coordinate(out, point.x - before.x, index % ANEW_AFTER != 1);
                coordinate(out, point.y - before.y, true);
            }
        }
    }
}

/// A number of path data without a leading zero, a blank before it where it needs one.
fn coordinate(out: &mut String, value: Mm, separate: bool) {
    let (whole, mut rest) = (value.0.unsigned_abs() / 1000, value.0.unsigned_abs() % 1000);
    if value.0 < 0 {
        out.push('-');
    } else if separate {
        out.push(' ');
    }
    if whole > 0 || rest == 0 {
        let _ = write!(out, "{whole}");
    }
    if rest > 0 {
        out.push('.');
        let mut place = 100;
        while rest > 0 {
            out.push(char::from(b'0' + u8::try_from(rest / place).unwrap_or(0)));
            rest %= place;
            place /= 10;
        }
    }
}

fn draw_text(out: &mut String, text: &Text) {
    if text.text.is_empty() {
        return;
    }
    let _ = write!(out, "<text x=\"{}\" y=\"{}\" font-size=\"{}\"", text.at.x, text.at.y, text.size);
    match text.anchor {
        Anchor::Start => {}
        Anchor::Middle => out.push_str(" text-anchor=\"middle\""),
        Anchor::End => out.push_str(" text-anchor=\"end\""),
    }
    if text.weight == Weight::Bold {
        out.push_str(" font-weight=\"bold\"");
    }
    let _ = writeln!(
        out,
        " textLength=\"{}\" lengthAdjust=\"spacingAndGlyphs\" fill=\"{}\">{}</text>",
        text.width,
        hex(text.ink),
        escape(&text.text),
    );
}

fn hex(ink: Ink) -> String {
    let [red, green, blue] = ink.rgb();
    format!("#{red:02x}{green:02x}{blue:02x}")
}

/// Text with the characters that mean something in XML written as references (XML 1.0, 2.4).
pub(crate) fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c => out.push(c),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn data(points: &[(i32, i32)]) -> String {
        let run: Vec<Point> = points.iter().map(|(x, y)| Point { x: Mm(*x), y: Mm(*y) }).collect();
        let mut out = String::new();
        path_data(&mut out, &run);
        out
    }

    #[test]
    fn path_data_is_short_and_exact() {
        assert_eq!(
            data(&[(28_500, 60_000), (28_550, 59_988), (28_600, 60_001)]),
            "M28.5 60l.05-.012 .05 .013"
        );
        assert_eq!(data(&[(1_000, 2_000)]), "M1 2h0");
        assert_eq!(data(&[(0, 0), (0, -1_000), (2_050, -1_000)]), "M0 0l0-1 2.05 0");
    }

    #[test]
    fn markup_in_a_text_stays_text() {
        assert_eq!(escape("<script>\"a\" & 'b'"), "&lt;script&gt;&quot;a&quot; &amp; &#39;b&#39;");
    }
}
