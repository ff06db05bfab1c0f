//! The beat detector against expert marks: LUDB's twelve leads and MIT-BIH record 100.

use ecgkeep_checks::rhythm;

use super::annotations;
use super::sets::{Failure, Record, Sets};

/// ANSI/AAMI EC57: a detection within 150 ms of the reference matches (from memory).
const WINDOW_MS: usize = 150;

const LEADS: [&str; 12] = ["i", "ii", "iii", "avr", "avl", "avf", "v1", "v2", "v3", "v4", "v5", "v6"];

#[derive(Default)]
struct Score {
    expected: usize,
    found: usize,
    missed: Vec<usize>,
    extra: Vec<usize>,
}

impl Score {
    fn sensitivity(&self) -> f64 {
        100.0 * self.found as f64 / self.expected as f64
    }

    fn predictivity(&self) -> f64 {
        100.0 * self.found as f64 / (self.found + self.extra.len()) as f64
    }
}

pub fn table(sets: &Sets) -> Result<(), Failure> {
    println!("### Beats\n");
    println!("| recording | beats marked | found | missed at (sample) | extra at (sample) | Se % | +P % |");
    println!("|---|---|---|---|---|---|---|");
    let mut gross = Score::default();
    for record in &sets.ludb {
        let score = score(record, &ludb_marks(record)?);
        print(&record.name, &score);
        gross.expected += score.expected;
        gross.found += score.found;
        gross.missed.extend(score.missed);
        gross.extra.extend(score.extra);
    }
    print("**ludb, gross**", &gross);
    let marks = annotations::beats(&sets.mitbih.path.with_extension("atr"))?;
    print(&sets.mitbih.name, &score(&sets.mitbih, &marks));
    println!();
    Ok(())
}

fn print(name: &str, score: &Score) {
    let list = |samples: &[usize]| match samples.len() {
        0 => "-".to_owned(),
        1..=8 => samples.iter().map(usize::to_string).collect::<Vec<_>>().join(", "),
        n => format!("{n}"),
    };
    println!(
        "| {name} | {} | {} | {} | {} | {:.2} | {:.2} |",
        score.expected,
        score.found,
        list(&score.missed),
        list(&score.extra),
        score.sensitivity(),
        score.predictivity()
    );
}

/// The expert's QRS marks of the twelve leads, joined where they lie within the window: the median of each group
/// that at least half of the leads share.
fn ludb_marks(record: &Record) -> Result<Vec<usize>, Failure> {
    let mut all = Vec::new();
    for lead in LEADS {
        all.extend(annotations::beats(&record.path.with_extension(lead))?);
    }
    all.sort_unstable();
    let window = window(record);
    let groups = all.chunk_by(|a, b| b - a < window);
    Ok(groups.filter(|group| 2 * group.len() >= LEADS.len()).map(|group| group[group.len() / 2]).collect())
}

#[expect(clippy::cast_possible_truncation, reason = "a few samples")]
fn window(record: &Record) -> usize {
    let rate = record.recording.waveforms[0].rate().per_second().to_f64();
    (WINDOW_MS as f64 * rate / 1000.0).round() as usize
}

/// One-to-one matching between the first and the last mark, both included.
fn score(record: &Record, marks: &[usize]) -> Score {
    let window = window(record);
    let found = rhythm(&record.recording).map(|figures| figures.beats).unwrap_or_default();
    let (first, last) = (marks[0], marks[marks.len() - 1]);
    let mut open: Vec<usize> =
        found.into_iter().filter(|beat| beat + window >= first && *beat <= last + window).collect();
    let mut score = Score { expected: marks.len(), ..Score::default() };
    for mark in marks {
        let nearest = open.iter().enumerate().min_by_key(|(_, beat)| beat.abs_diff(*mark));
        match nearest {
            Some((index, beat)) if beat.abs_diff(*mark) <= window => {
                score.found += 1;
                open.remove(index);
            }
            _ => score.missed.push(*mark),
        }
    }
    score.extra = open;
    score
}
