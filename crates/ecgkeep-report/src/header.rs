//! The head of the page: whose recording it is, and what the checks answer.

use ecgkeep_checks::Assessment;
use ecgkeep_recording::{Identifier, Recording, Subject};

use crate::boxes::boxes;
use crate::constants::{BODY_LEADING, HEAD_SIZE, RULE_STROKE};
use crate::frame::Frame;
use crate::typeset::{ELLIPSIS, Style, clean, shorten, wrap};
use crate::words::SUPPLIED;
use crate::{Anchor, Ink, Mm, PageFacts, Point, Shape, entries, letters, words};

/// Name and identifiers on the left, the answer on the right.
pub(crate) fn head(
    frame: &Frame,
    recording: &Recording,
    assessment: &Assessment,
    facts: &PageFacts,
) -> Vec<Shape> {
    let mut shapes = who(frame, &recording.subject, facts);
    shapes.extend(answer(frame, assessment, boxes(assessment, facts)));
    shapes.push(rule("head-rule", frame, frame.band.bottom));
    shapes
}

/// The person: what the source says; where it is silent, what was supplied beside it, marked so.
fn who(frame: &Frame, subject: &Subject, facts: &PageFacts) -> Vec<Shape> {
    let beside = facts.filing.as_ref().map(|filing| &filing.subject);
    let stated = |of: &dyn Fn(&Subject) -> Option<String>| {
        of(subject)
            .map(|text| Stated { text, supplied: false })
            .or_else(|| beside.and_then(of).map(|text| Stated { text, supplied: true }))
    };
    let name = stated(&|subject| Some(words::name(subject)).filter(|name| !name.trim().is_empty()));
    let identifier = stated(&|subject| subject.identifiers.first().map(words::identifier));
    // Who assigned it stands smaller after it where the line is too long.
    let bare = stated(&|subject| {
        let first = subject.identifiers.first()?;
        Some(words::identifier(&Identifier { assigner: None, ..first.clone() }))
    });
    let birth = stated(&|subject| subject.birth_date.map(|date| format!("born {date}")));
    let sex = stated(&|subject| subject.sex.as_ref().map(words::sex));
    let age = stated(&|subject| subject.age.as_ref().map(words::age));

    let (left, room) = frame.columns(0, 2);
    let top = frame.band.top;
    let numbers = name.as_ref().map(|name| letters::in_unicode(&name.text)).unwrap_or_default();
    let mut shapes = set_name(left, top, room, name);
    let identifier = [identifier.unwrap_or_else(|| Stated::silent("identifier not stated"))];
    let bare = bare.map_or(0, |bare| clean(&bare.text).len());
    let birth = birth.unwrap_or_else(|| Stated::silent("birth date not stated"));
    let about: Vec<Stated> = [Some(birth), sex, age].into_iter().flatten().collect();
    let (mut second, mut third) = (top + Mm(11_200), top + Mm(16_200));
    // A name on two lines leaves no room: its letters are numbered at the end of the report.
    let is_one_line =
        shapes.iter().all(|shape| matches!(shape, Shape::Text(text) if text.at.y == top + NAME_BASE));
    if !numbers.is_empty() && is_one_line {
        let line = format!("Letters that not every font has, in Unicode: {numbers}");
        let line = shorten(&line, Style::SMALL, room);
        // The name a little higher, so that the line under it stands apart from what follows.
        for shape in &mut shapes {
            if let Shape::Text(text) = shape {
                text.at.y = text.at.y - Mm(500);
            }
        }
        shapes.push(Style::SMALL.line(left, top + Mm(7_900), Anchor::Start, &line));
        (second, third) = (top + Mm(12_300), top + Mm(17_000));
    }
    shapes.extend(set_stated(left, second, room, &identifier, bare));
    shapes.extend(set_stated(left, third, room, &about, 0));
    shapes
}

/// Something said of a person, and whether the source says it.
struct Stated {
    text: String,
    supplied: bool,
}

impl Stated {
    fn silent(text: &str) -> Stated {
        Stated { text: text.to_owned(), supplied: false }
    }
}

/// From the upper edge to the base line of a name on one line.
const NAME_BASE: Mm = Mm(5_200);

/// The name on one line as large as it fits, else on two.
fn set_name(left: Mm, top: Mm, room: Mm, name: Option<Stated>) -> Vec<Shape> {
    let base = top + NAME_BASE;
    let Some(name) = name else {
        return vec![Style::HEAD_REGULAR.line(left, base, Anchor::Start, "name not stated")];
    };
    let mark = if name.supplied { SUPPLIED } else { "" };
    let blank = Style::HEAD.measure(" ");
    let mark_width = blank + Style::HEAD_REGULAR.measure(mark);
    let text = clean(&name.text);
    let fits = [Style::NAME, Style::HEAD].into_iter().find(|style| style.measure(&text) + mark_width <= room);
    if let Some(style) = fits {
        let after = left + style.measure(&text) + blank;
        let mut shapes = vec![style.line(left, base, Anchor::Start, &text)];
        if name.supplied {
            shapes.push(Style::HEAD_REGULAR.line(after, base, Anchor::Start, mark));
        }
        return shapes;
    }
    let mut lines = wrap(&format!("{text} {mark}"), Style::HEAD, room);
    if lines.len() > 2 {
        lines[1] = shorten(&lines[1..].join(" "), Style::HEAD, room);
        lines.truncate(2);
    }
    let bases = [top + Mm(2_600), top + Mm(6_800)];
    bases.iter().zip(&lines).map(|(base, line)| Style::HEAD.line(left, *base, Anchor::Start, line)).collect()
}

/// What is said, on one line; marked once at the end where all of it was supplied, else part by part. Of a line that is
/// too long the first `weighty` bytes keep their size as long as the others fit in a smaller one.
fn set_stated(left: Mm, base: Mm, room: Mm, parts: &[Stated], weighty: usize) -> Vec<Shape> {
    let all_supplied = parts.iter().all(|part| part.supplied);
    let marked =
        |text: &str, marked: bool| if marked { format!("{text} {SUPPLIED}") } else { text.to_owned() };
    let texts: Vec<String> =
        parts.iter().map(|part| marked(&part.text, part.supplied && !all_supplied)).collect();
    let text = clean(&marked(&texts.join(" · "), all_supplied));
    // A line too long for its size is set in the next smaller one before anything is left off.
    let fits = Style::HEAD_REGULAR.measure(&text) <= room;
    if let Some((first, rest)) =
        text.split_at_checked(weighty).filter(|(first, _)| !fits && !first.is_empty())
    {
        let (rest, after) = (rest.trim_start(), Style::HEAD_REGULAR.measure(first) + Mm(1_200));
        if !rest.is_empty() && after + Style::BODY.measure(rest) <= room {
            return vec![
                Style::HEAD_REGULAR.line(left, base, Anchor::Start, first),
                Style::BODY.line(left + after, base, Anchor::Start, rest),
            ];
        }
    }
    let style = if fits { Style::HEAD_REGULAR } else { Style::BODY };
    vec![style.line(left, base, Anchor::Start, &shorten(&text, style, room))]
}

/// The answer of the checks, the identity line, the policy; above them what nobody must overlook, white on black.
fn answer(frame: &Frame, assessment: &Assessment, mut boxes: Vec<String>) -> Vec<Shape> {
    let (left, room) = frame.columns(2, 2);
    let top = frame.band.top;
    let mut shapes = Vec::new();
    let mut headline_base = top + Mm(4_200);
    if !boxes.is_empty() {
        let (style, side) = side_by_side(&mut boxes, room);
        let mut x = left;
        for words in &boxes {
            let (right, bottom) = (x + style.measure(words) + side.times(2), top + HEAD_SIZE + Mm(1_600));
            let corners = [(x, top), (right, top), (right, bottom), (x, bottom)];
            let corners = corners.map(|(x, y)| Point { x, y }).to_vec();
            shapes.push(Shape::Polygon { corners, ink: Ink::Black });
            let white = Style { ink: Ink::White, ..style };
            let base = top + (HEAD_SIZE + Mm(1_600) + style.size.times(7).over(10)).over(2);
            shapes.push(white.line(x + side, base, Anchor::Start, words));
            x = right + side;
        }
        headline_base = top + Mm(9_800);
    }
    let headline = capitalised(&assessment.headline());
    shapes.push(Style::HEAD.line(left, headline_base, Anchor::Start, &shorten(&headline, Style::HEAD, room)));
    let policy = entries::policy(assessment);
    let mut base = headline_base + Mm(4_400);
    // In the smallest type before anything is left off.
    let set = |style: Style| {
        let mut lines = wrap(&capitalised(assessment.identity_line()), style, room);
        lines.extend(wrap(&policy, style, room));
        lines
    };
    let most = usize::try_from((frame.band.bottom - base).0 / BODY_LEADING.0 + 1).unwrap_or(0);
    let styles = [Style::BODY, Style::SMALL].map(|style| (style, set(style)));
    let fitting = styles.iter().find(|(_, lines)| lines.len() <= most).unwrap_or(&styles[0]);
    let (style, mut lines) = fitting.clone();
    if lines.len() > most {
        // What is left off stands at the end of the report.
        lines.truncate(most);
        if let Some(last) = lines.last_mut() {
            *last = shorten(&format!("{last} {ELLIPSIS}"), style, room);
        }
    }
    for line in &lines {
        shapes.push(style.line(left, base, Anchor::Start, line));
        base = base + BODY_LEADING;
    }
    shapes
}

/// The largest type, with the room at the sides of each, in which all boxes stand side by side; where none is small enough,
/// how many are left off stands in the last.
fn side_by_side(boxes: &mut Vec<String>, room: Mm) -> (Style, Mm) {
    let widest =
        [(Style::HEAD, Mm::whole(2)), (Style::BODY_BOLD, Mm::whole(1)), (Style::SMALL_BOLD, Mm(600))];
    let fits = |boxes: &[String], (style, side): (Style, Mm)| {
        let widths = boxes.iter().map(|words| style.measure(words) + side.times(3));
        widths.fold(Mm::ZERO, |all, width| all + width) <= room
    };
    if let Some(found) = widest.into_iter().find(|of| fits(boxes, *of)) {
        return found;
    }
    let smallest = widest[2];
    let all = boxes.len();
    for shown in (1..all).rev() {
        boxes.truncate(shown);
        boxes.push(format!("AND {} MORE BELOW", all - shown));
        if fits(boxes, smallest) {
            break;
        }
    }
    smallest
}

/// A thin line across the page.
pub(crate) fn rule(id: &str, frame: &Frame, y: Mm) -> Shape {
    let ends = (Point { x: frame.band.left, y }, Point { x: frame.band.right, y });
    Shape::Lines { id: id.to_owned(), lines: vec![ends], stroke: RULE_STROKE, ink: Ink::Rule }
}

pub(crate) fn capitalised(text: &str) -> String {
    let mut rest = text.chars();
    rest.next().map(|first| first.to_uppercase().chain(rest).collect()).unwrap_or_default()
}
