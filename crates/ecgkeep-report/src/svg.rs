//! Writing a page as SVG 1.1: only what the sheet decided.

use std::fmt::Write;

use crate::{Anchor, Ink, Page, Point, Rectangle, Shape, Sheet, Text, Weight};

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
                    "<path id=\"{prefix}{}\" transform=\"scale(.001)\" stroke=\"{}\" stroke-width=\"{}\"",
                    escape(id),
                    hex(*ink),
                    stroke.0
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

/// A run in thousandths of a millimetre: its first point, then steps from point to point. Whole numbers are short, and
/// their sums are exact even for a reader that adds them up in single precision (up to 2^24).
fn path_data(out: &mut String, run: &[Point]) {
    let Some((first, rest)) = run.split_first() else { return };
    let _ = write!(out, "M{} {}", first.x.0, first.y.0);
    if rest.is_empty() {
        out.push_str("h0");
    }
    let mut before = *first;
    for (index, point) in rest.iter().enumerate() {
        if index == 0 {
            out.push('l');
        }
        whole(out, point.x.0 - before.x.0, index > 0);
        whole(out, point.y.0 - before.y.0, true);
        before = *point;
    }
}

/// A whole number of path data, a blank before it where it needs one.
fn whole(out: &mut String, value: i32, separate: bool) {
    if value < 0 {
        out.push('-');
    } else if separate {
        out.push(' ');
    }
    let mut digits = [0u8; 10];
    let mut left = value.unsigned_abs();
    let mut first = digits.len();
    loop {
        first -= 1;
        digits[first] = b'0' + u8::try_from(left % 10).unwrap_or(0);
        left /= 10;
        if left == 0 {
            break;
        }
    }
    out.extend(digits[first..].iter().copied().map(char::from));
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
    use crate::Mm;

    fn data(points: &[(i32, i32)]) -> String {
        let run: Vec<Point> = points.iter().map(|(x, y)| Point { x: Mm(*x), y: Mm(*y) }).collect();
        let mut out = String::new();
        path_data(&mut out, &run);
        out
    }

    #[test]
    fn path_data_is_short_and_exact() {
        assert_eq!(data(&[(28_500, 60_000), (28_550, 59_988), (28_600, 60_001)]), "M28500 60000l50-12 50 13");
        assert_eq!(data(&[(1_000, 2_000)]), "M1000 2000h0");
        assert_eq!(data(&[(0, 0), (0, -1_000), (2_050, -1_000)]), "M0 0l0-1000 2050 0");
    }

    #[test]
    fn markup_in_a_text_stays_text() {
        assert_eq!(escape("<script>\"a\" & 'b'"), "&lt;script&gt;&quot;a&quot; &amp; &#39;b&#39;");
    }
}
