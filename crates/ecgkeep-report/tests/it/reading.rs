//! A small reader of SVG: elements, attributes, texts, and the points of a path.

use std::collections::BTreeMap;

use quick_xml::Reader;
use quick_xml::events::Event;

type Attributes = BTreeMap<String, String>;

/// The colour of the words behind the tracings, which stand in black in the head as well.
const WATERMARK: &str = "#dddddd";
/// The colour of the paper.
const PAPER: &str = "#ffffff";

/// A text and the colours that lie under it: of the paper or a filled shape, of the lines of the grid that touch it, and
/// of the words behind the tracings wherever the page has any.
pub struct Ground<'a> {
    pub text: &'a str,
    pub size: f64,
    pub fill: &'a str,
    pub under: Vec<&'a str>,
}

/// A drawing as its file states it.
pub struct Drawing {
    elements: Vec<(String, Attributes, String)>,
}

impl Drawing {
    /// Reads a file; it must be well-formed.
    pub fn read(svg: &str) -> Drawing {
        let mut reader = Reader::from_str(svg);
        let mut elements: Vec<(String, Attributes, String)> = Vec::new();
        let mut open: Vec<usize> = Vec::new();
        loop {
            let event = reader.read_event().expect("well-formed");
            match event {
                Event::Start(ref start) | Event::Empty(ref start) => {
                    let attributes = start.attributes().map(|attribute| {
                        let attribute = attribute.expect("an attribute");
                        let value =
                            quick_xml::escape::unescape(attribute.value.as_ref()).expect("known references");
                        (attribute.key.as_ref().to_owned(), value.into_owned())
                    });
                    elements.push((start.name().as_ref().to_owned(), attributes.collect(), String::new()));
                    if matches!(event, Event::Start(_)) {
                        open.push(elements.len() - 1);
                    }
                }
                Event::End(_) => drop(open.pop().expect("an open element")),
                Event::Text(text) => {
                    if let Some(&at) = open.last() {
                        elements[at].2.push_str(text.as_ref());
                    }
                }
                Event::GeneralRef(name) => {
                    let reference = format!("&{};", &*name);
                    let text = quick_xml::escape::unescape(&reference).expect("a known reference");
                    elements[*open.last().expect("inside the root")].2.push_str(&text);
                }
                Event::Eof => break,
                _ => {}
            }
        }
        assert!(open.is_empty(), "every element ends");
        Drawing { elements }
    }

    pub fn names(&self) -> impl Iterator<Item = &str> {
        self.elements.iter().map(|(name, _, _)| name.as_str())
    }

    pub fn attributes(&self) -> impl Iterator<Item = (&str, &str)> {
        self.elements
            .iter()
            .flat_map(|(_, all, _)| all.iter().map(|(name, value)| (name.as_str(), value.as_str())))
    }

    /// The attributes of the first element of this name.
    pub fn element(&self, name: &str) -> &Attributes {
        &self.elements.iter().find(|(found, _, _)| found == name).expect("an element of this name").1
    }

    /// The lines of text, in the order of the file.
    pub fn texts(&self) -> impl Iterator<Item = &str> {
        self.elements.iter().filter(|(name, _, _)| name == "text").map(|(_, _, text)| text.as_str())
    }

    /// Whether these words stand on the page, over however many lines.
    pub fn says(&self, words: &str) -> bool {
        self.texts().collect::<Vec<_>>().join(" ").contains(words)
    }

    /// Each text with its left, upper, right and lower edge: as wide as it says, from 0.8 em above its base line to
    /// 0.2 em below (capitals rise 0.72 em, descenders fall 0.21 em in Helvetica; AFM, from memory). The large words
    /// behind the tracings are left out.
    pub fn boxes(&self) -> impl Iterator<Item = (&str, [f64; 4])> {
        let texts = self.elements.iter().filter(|(name, _, _)| name == "text");
        texts.filter_map(|(_, attributes, text)| {
            let number = |name: &str| attributes[name].parse::<f64>().expect("a number");
            let (x, y, size, width) = (number("x"), number("y"), number("font-size"), number("textLength"));
            let left = match attributes.get("text-anchor").map(String::as_str) {
                Some("middle") => x - width / 2.0,
                Some("end") => x - width,
                _ => x,
            };
            (attributes["fill"] != WATERMARK)
                .then_some((text.as_str(), [left, y - 0.8 * size, left + width, y + 0.2 * size]))
        })
    }

    /// The words behind the tracings.
    pub fn watermarks(&self) -> impl Iterator<Item = &str> {
        let texts = self.elements.iter().filter(|(name, _, _)| name == "text");
        texts.filter(|(_, attributes, _)| attributes["fill"] == WATERMARK).map(|(_, _, text)| text.as_str())
    }

    /// Every text but those behind the tracings, with what was drawn under it before. Tracings are left out: a name of
    /// a lead stands on one only where it finds no other place.
    pub fn grounds(&self) -> impl Iterator<Item = Ground<'_>> {
        let is_text = |at: &usize| {
            let (name, attributes, _) = &self.elements[*at];
            name == "text" && attributes["fill"] != WATERMARK
        };
        let ats = (0..self.elements.len()).filter(is_text);
        ats.zip(self.boxes()).map(|(at, (text, edges))| {
            let attributes = &self.elements[at].1;
            let (size, fill) =
                (attributes["font-size"].parse().expect("a number"), attributes["fill"].as_str());
            let mut under = vec![PAPER];
            for (name, attributes, _) in &self.elements[..at] {
                let colour = |which: &str| attributes.get(which).map_or("none", String::as_str);
                let filled = colour("fill");
                match name.as_str() {
                    "path" if filled != "none" => {
                        let points = points(&attributes["d"]).concat();
                        let edge = |of: &dyn Fn(&(f64, f64)) -> f64, choose: fn(f64, f64) -> f64| {
                            points.iter().map(of).reduce(choose).expect("a corner")
                        };
                        let area = [
                            edge(&|p| p.0, f64::min),
                            edge(&|p| p.1, f64::min),
                            edge(&|p| p.0, f64::max),
                            edge(&|p| p.1, f64::max),
                        ];
                        let covers = area[0] <= edges[0]
                            && area[1] <= edges[1]
                            && area[2] >= edges[2]
                            && area[3] >= edges[3];
                        if covers {
                            under = vec![filled];
                        } else if touches(area, edges) {
                            under.push(filled);
                        }
                    }
                    "path" if attributes.get("id").is_some_and(|id| id.starts_with("grid-")) => {
                        let lines = points(&attributes["d"]);
                        let on_text = |line: &Vec<(f64, f64)>| {
                            let (a, b) = (line[0], line[line.len() - 1]);
                            touches([a.0.min(b.0), a.1.min(b.1), a.0.max(b.0), a.1.max(b.1)], edges)
                        };
                        if lines.iter().any(on_text) {
                            under.push(colour("stroke"));
                        }
                    }
                    "text" if filled == WATERMARK => under.push(WATERMARK),
                    _ => {}
                }
            }
            Ground { text, size, fill, under }
        })
    }

    /// The runs of points of the path with this id; empty where there is none.
    pub fn runs(&self, id: &str) -> Vec<Vec<(f64, f64)>> {
        let mut found =
            self.elements.iter().filter(|(_, attributes, _)| attributes.get("id").is_some_and(|v| v == id));
        let path = found.next();
        assert!(found.next().is_none(), "{id} stands once");
        path.map_or_else(Vec::new, |(_, attributes, _)| {
            let mut runs = points(&attributes["d"]);
            // A path in thousandths says so (SVG 1.1, 7.6).
            let unit = match attributes.get("transform").map(String::as_str) {
                None => 1.0,
                Some("scale(.001)") => 0.001,
                Some(other) => panic!("transform {other}"),
            };
            runs.iter_mut().flatten().for_each(|point| *point = (point.0 * unit, point.1 * unit));
            runs
        })
    }

    /// Where the drawn line stands at every sample, run by run, the samples being so many millimetres apart.
    pub fn samples(&self, id: &str, apart: f64) -> Vec<Vec<(f64, f64)>> {
        self.runs(id).iter().map(|run| at_every(run, apart)).collect()
    }

    /// How many rows of tracings the page has: as many as begin at the first second.
    pub fn rows(&self) -> usize {
        let ids = self.elements.iter().filter_map(|(_, attributes, _)| attributes.get("id"));
        let tracings = ids.filter(|id| id.starts_with("lead-") || id.starts_with("strip-"));
        let first = tracings.filter_map(|id| self.runs(id).first().and_then(|run| run.first().copied()));
        let left = self.runs("seconds")[0][0].0;
        first.filter(|(x, _)| (x - left).abs() < 0.01).count()
    }

    /// The least and the greatest x, and the same for y, of the path with this id.
    pub fn extent(&self, id: &str) -> ((f64, f64), (f64, f64)) {
        let points = self.runs(id).concat();
        let range = |values: &mut dyn Iterator<Item = f64>| {
            values.fold((f64::MAX, f64::MIN), |(low, high), value| (low.min(value), high.max(value)))
        };
        (range(&mut points.iter().map(|point| point.0)), range(&mut points.iter().map(|point| point.1)))
    }
}

/// The places of a line at its first x and at every so many millimetres on, as far as it goes.
fn at_every(run: &[(f64, f64)], apart: f64) -> Vec<(f64, f64)> {
    let (start, end) = (run[0].0, run[run.len() - 1].0);
    let xs = (0..).map(|n| start + f64::from(n) * apart).take_while(|x| *x < end + apart / 2.0);
    let mut next = 0;
    xs.map(|x| {
        while next + 1 < run.len() && run[next].0 < x {
            next += 1;
        }
        let (from, to) = (run[next.saturating_sub(1)], run[next]);
        let part = if to.0 > from.0 { (x - from.0) / (to.0 - from.0) } else { 1.0 };
        (x, from.1 + part * (to.1 - from.1))
    })
    .collect()
}

fn touches(a: [f64; 4], b: [f64; 4]) -> bool {
    a[0] <= b[2] && b[0] <= a[2] && a[1] <= b[3] && b[1] <= a[3]
}

/// The points of path data with the commands M, L, l, h and Z (SVG 1.1, 8.3).
fn points(data: &str) -> Vec<Vec<(f64, f64)>> {
    let mut runs: Vec<Vec<(f64, f64)>> = Vec::new();
    let mut rest = data;
    while let Some(command) = rest.chars().next() {
        let end = rest[1..].find(|c: char| c.is_ascii_alphabetic()).map_or(rest.len(), |at| at + 1);
        let numbers = numbers(&rest[1..end]);
        rest = &rest[end..];
        match command {
            'M' => runs.push(vec![(numbers[0], numbers[1])]),
            'L' | 'l' => {
                let run = runs.last_mut().expect("a path begins with M");
                for pair in numbers.chunks_exact(2) {
                    let from = if command == 'l' { run[run.len() - 1] } else { (0.0, 0.0) };
                    run.push((from.0 + pair[0], from.1 + pair[1]));
                }
            }
            'h' => assert_eq!(numbers, [0.0], "a dot"),
            'Z' => {}
            other => panic!("command {other}"),
        }
    }
    runs
}

/// Numbers apart by blanks, or by their sign.
fn numbers(text: &str) -> Vec<f64> {
    let spaced = text.replace('-', " -");
    spaced.split_whitespace().map(|number| number.parse().expect("a number")).collect()
}
