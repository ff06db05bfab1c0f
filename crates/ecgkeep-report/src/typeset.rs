//! Setting text: cleaned, measured, broken into lines, written in columns.

use crate::constants::{BODY_LEADING, BODY_SIZE, HEAD_SIZE, LABEL_GAP, NAME_SIZE, SMALL_LEADING, SMALL_SIZE};
use crate::metrics::width;
use crate::{Anchor, Entry, Ink, Mm, Point, Shape, Text, Weight};

/// Size, weight and colour of a line.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Style {
    pub size: Mm,
    pub weight: Weight,
    pub ink: Ink,
}

impl Style {
    pub const NAME: Style = Style { size: NAME_SIZE, weight: Weight::Bold, ink: Ink::Black };
    pub const HEAD: Style = Style { size: HEAD_SIZE, weight: Weight::Bold, ink: Ink::Black };
    pub const HEAD_REGULAR: Style = Style { weight: Weight::Regular, ..Style::HEAD };
    pub const BODY: Style = Style { size: BODY_SIZE, weight: Weight::Regular, ink: Ink::Black };
    pub const BODY_BOLD: Style = Style { weight: Weight::Bold, ..Style::BODY };
    pub const BODY_QUIET: Style = Style { ink: Ink::Quiet, ..Style::BODY };
    pub const SMALL: Style = Style { size: SMALL_SIZE, ..Style::BODY };
    pub const SMALL_BOLD: Style = Style { weight: Weight::Bold, ..Style::SMALL };
    pub const SMALL_QUIET: Style = Style { ink: Ink::Quiet, ..Style::SMALL };

    /// The width of a cleaned text in this style.
    pub fn measure(self, text: &str) -> Mm {
        width(text, self.size, self.weight)
    }

    /// From line to line.
    fn leading(self) -> Mm {
        if self.size <= SMALL_SIZE { SMALL_LEADING } else { BODY_LEADING }
    }

    /// A line of text; what a page cannot hold in a text is replaced visibly.
    pub fn line(self, x: Mm, y: Mm, anchor: Anchor, text: &str) -> Shape {
        let text = clean(text);
        Shape::Text(Text {
            at: Point { x, y },
            size: self.size,
            width: self.measure(&text),
            anchor,
            weight: self.weight,
            ink: self.ink,
            text,
        })
    }
}

/// The text with everything replaced by U+FFFD that could break a file, hide, or turn the order of what is read:
/// control characters, line and paragraph separators, marks of writing direction, code points that are no
/// characters (XML 1.0, 2.2; Unicode 16, 23.2 and 23.7).
pub(crate) fn clean(text: &str) -> String {
    let is_refused = |c: char| {
        c.is_control()
            || matches!(c, '\u{200b}' | '\u{200e}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{206f}')
            || matches!(c, '\u{feff}' | '\u{fdd0}'..='\u{fdef}' | '\u{fff9}'..='\u{fffb}')
            || u32::from(c) & 0xfffe == 0xfffe
    };
    text.chars().map(|c| if is_refused(c) { char::REPLACEMENT_CHARACTER } else { c }).collect()
}

/// Breaks a text into lines no wider than `room`: at blanks, and inside a word only where the word alone is wider.
/// At least one line.
pub(crate) fn wrap(text: &str, style: Style, room: Mm) -> Vec<String> {
    wrap_after(Mm::ZERO, text, style, room)
}

/// The same where so much of the first line is taken already; the first line stays empty where no word fits on it.
pub(crate) fn wrap_after(taken: Mm, text: &str, style: Style, room: Mm) -> Vec<String> {
    let text = clean(text);
    let mut lines = vec![String::new()];
    let mut used = taken;
    let blank = style.measure(" ");
    for word in text.split(' ').filter(|word| !word.is_empty()) {
        let word_width = style.measure(word);
        let is_first = lines.last().is_some_and(String::is_empty);
        let before = if is_first { Mm::ZERO } else { blank };
        if used > Mm::ZERO && used + before + word_width > room {
            lines.push(String::new());
            used = Mm::ZERO;
        }
        let line = lines.last_mut().expect("there is a line from the start");
        if !line.is_empty() {
            line.push(' ');
            used = used + blank;
        }
        if word_width <= room {
            line.push_str(word);
            used = used + word_width;
            continue;
        }
        for c in word.chars() {
            let c_width = style.measure(c.encode_utf8(&mut [0; 4]));
            if used > Mm::ZERO && used + c_width > room {
                lines.push(String::new());
                used = Mm::ZERO;
            }
            lines.last_mut().expect("there is a line from the start").push(c);
            used = used + c_width;
        }
    }
    lines
}

/// How far a label of this style reaches beyond the indent of its list, with the white after it.
pub(crate) fn run_in(label: &str, style: Style, indent: Mm) -> Mm {
    if label.is_empty() { Mm::ZERO } else { (style.measure(label) + LABEL_GAP - indent).max(Mm::ZERO) }
}

/// What stands at the end of a text of which something is left off.
pub(crate) const ELLIPSIS: char = '…';

/// The beginning of a text that fits into `room` on one line, with an ellipsis where something is left off.
pub(crate) fn shorten(text: &str, style: Style, room: Mm) -> String {
    let text = clean(text);
    if style.measure(&text) <= room {
        return text;
    }
    let mut short = String::new();
    let mut used = style.measure(ELLIPSIS.encode_utf8(&mut [0; 4]));
    for c in text.chars() {
        used = used + style.measure(c.encode_utf8(&mut [0; 4]));
        if used > room {
            break;
        }
        short.push(c);
    }
    format!("{}{ELLIPSIS}", short.trim_end())
}

/// A column of text that fills from top to bottom and knows when it is full.
pub(crate) struct Column<'a> {
    shapes: &'a mut Vec<Shape>,
    pub left: Mm,
    pub width: Mm,
    /// Where the next line hangs from.
    pub top: Mm,
    pub bottom: Mm,
    /// Whether something found no room in it.
    pub is_cut: bool,
}

impl<'a> Column<'a> {
    pub fn new(shapes: &'a mut Vec<Shape>, left: Mm, width: Mm, top: Mm, bottom: Mm) -> Column<'a> {
        Column { shapes, left, width, top, bottom, is_cut: false }
    }

    /// How many more lines of a style fit.
    pub fn lines_left(&self, style: Style) -> usize {
        usize::try_from((self.bottom - self.top).0 / style.leading().0).unwrap_or(0)
    }

    /// Writes one line as it is; the caller has seen that it fits.
    pub fn line(&mut self, style: Style, indent: Mm, text: &str) {
        let base = self.top + style.size.times(4).over(5);
        self.shapes.push(style.line(self.left + indent, base, Anchor::Start, text));
        self.top = self.top + style.leading();
    }

    /// Writes texts side by side on one line, each at its distance from the left.
    pub fn cells(&mut self, style: Style, cells: &[(Mm, String)]) {
        let base = self.top + style.size.times(4).over(5);
        let texts =
            cells.iter().map(|(indent, text)| style.line(self.left + *indent, base, Anchor::Start, text));
        self.shapes.extend(texts);
        self.top = self.top + style.leading();
    }

    /// Writes a text over as many lines as it needs, if so many are left; whether it was written.
    pub fn paragraph(&mut self, style: Style, text: &str) -> bool {
        let lines = wrap(text, style, self.width);
        if lines.len() > self.lines_left(style) {
            self.is_cut = true;
            return false;
        }
        for line in lines {
            self.line(style, Mm::ZERO, &line);
        }
        true
    }

    /// Writes as many items as fit, each text hanging `indent` from the left, its label before it in bold. How many
    /// were written.
    pub fn fill(&mut self, items: &[Entry], indent: Mm, style: Style) -> usize {
        items.iter().take_while(|item| self.item(item, indent, style, 0)).count()
    }

    /// The same; where some are left over, the last line says how many, in the words of `more`.
    pub fn list(
        &mut self,
        items: &[Entry],
        indent: Mm,
        style: Style,
        more: impl Fn(usize) -> String,
    ) -> usize {
        for (index, item) in items.iter().enumerate() {
            let reserve = usize::from(index + 1 < items.len());
            if !self.item(item, indent, style, reserve) {
                if self.lines_left(style) > 0 {
                    let words = shorten(&more(items.len() - index), style, self.width);
                    self.line(Style { weight: Weight::Bold, ..style }, Mm::ZERO, &words);
                }
                return index;
            }
        }
        items.len()
    }

    /// Writes one item if it fits with so many lines to spare.
    fn item(&mut self, item: &Entry, indent: Mm, style: Style, reserve: usize) -> bool {
        let bold = Style { weight: Weight::Bold, ..style };
        let label = shorten(&item.label, bold, self.width);
        let run_in = run_in(&label, bold, indent);
        let lines = wrap_after(run_in, &item.text, style, self.width - indent);
        if lines.len() + reserve > self.lines_left(style) {
            self.is_cut = true;
            return false;
        }
        if !label.is_empty() {
            let base = self.top + style.size.times(4).over(5);
            self.shapes.push(bold.line(self.left, base, Anchor::Start, &label));
        }
        for (index, line) in lines.iter().enumerate() {
            let after = if index == 0 { run_in } else { Mm::ZERO };
            self.line(style, indent + after, line);
        }
        true
    }

    /// Leaves room.
    pub fn skip(&mut self, height: Mm) {
        self.top = self.top + height;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_could_break_a_file_or_turn_the_reading_order_is_replaced_visibly() {
        assert_eq!(
            clean("A\u{0}B\u{1b}C\u{202e}D\u{ffff}E\n"),
            "A\u{fffd}B\u{fffd}C\u{fffd}D\u{fffd}E\u{fffd}"
        );
        assert_eq!(clean("Zoë O’Brien-Nguyễn 心 <&>\""), "Zoë O’Brien-Nguyễn 心 <&>\"");
    }

    #[test]
    fn no_line_is_wider_than_its_room_and_no_word_is_lost() {
        let text = "one two three Donaudampfschifffahrtsgesellschaftskapitänswitwe four";
        for room in [8, 14, 30, 90] {
            let lines = wrap(text, Style::BODY, Mm::whole(room));
            assert!(lines.iter().all(|line| Style::BODY.measure(line) <= Mm::whole(room)), "{lines:?}");
            let letters = |text: &str| text.replace(' ', "");
            assert_eq!(letters(&lines.concat()), letters(text));
        }
    }

    #[test]
    fn a_shortened_text_says_so() {
        let short = shorten("a name that goes on and on", Style::BODY, Mm::whole(12));
        assert!(short.ends_with('…') && Style::BODY.measure(&short) <= Mm::whole(12), "{short}");
        assert_eq!(shorten("short", Style::BODY, Mm::whole(12)), "short");
    }

    #[test]
    fn a_full_column_says_how_many_are_left_over() {
        let mut shapes = Vec::new();
        let item = |n: usize| Entry { label: "WARN".into(), text: format!("finding {n}") };
        let items: Vec<Entry> = (0..24).map(item).collect();
        let mut column = Column::new(&mut shapes, Mm::ZERO, Mm::whole(60), Mm::ZERO, BODY_LEADING.times(5));
        let written = column.list(&items, Mm::whole(12), Style::BODY, |n| format!("and {n} more"));
        assert_eq!(written, 4);
        assert!(matches!(shapes.last(), Some(Shape::Text(text)) if text.text == "and 20 more"));
    }
}
