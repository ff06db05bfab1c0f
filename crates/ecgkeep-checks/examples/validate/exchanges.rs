//! Exchanged cables, simulated on real recordings: tuned on one half of the patients, reported on the other.
//!
//! Limb exchanges by exact algebra with the right leg's potential equal to the left leg's (Krasteva, Jekova and
//! Schmid, Sensors 2019;19:2920, derive the same transformations); chest exchanges are permutations.

use ecgkeep_checks::{Policy, Verdict, run};
use ecgkeep_recording::{CivilTime, Exact, Lead, Rate, Recording, Signal, Step, Waveform};

use super::interval::interval;
use super::sets::{Failure, Record, Sets};

/// The eight independent leads in microvolts: I, II, V1 to V6.
type Eight = [Vec<f64>; 8];

/// One simulated exchange.
struct Exchange {
    name: String,
    apply: Box<dyn Fn(&Eight) -> Eight>,
}

struct Base {
    name: String,
    has_p_waves: bool,
    rate: Rate,
    leads: Eight,
}

pub fn tables(sets: &Sets) -> Result<(), Failure> {
    let mut halves: [Vec<Base>; 2] = [Vec::new(), Vec::new()];
    let mut patients: Vec<&str> = Vec::new();
    for record in sets.twelve_leads().filter(|record| !has_electrode_problem(record)) {
        let place = patients.iter().position(|known| *known == record.patient).unwrap_or_else(|| {
            patients.push(&record.patient);
            patients.len() - 1
        });
        halves[place % 2].push(base(record)?);
    }
    println!("### Exchanged cables\n");
    println!(
        "{} recordings of {} patients without a label of electrode problems, in two halves of {} and {} recordings.\n",
        halves.iter().map(Vec::len).sum::<usize>(),
        patients.len(),
        halves[0].len(),
        halves[1].len()
    );
    let shipped = Policy::default();
    for (half, name) in halves.iter().zip(["first half", "second half"]) {
        let chosen = tuned_on(half, name)?;
        if chosen.cable_turn_deg_at_least > shipped.cable_turn_deg_at_least
            || chosen.chest_path_share_at_most < shipped.chest_path_share_at_most
        {
            return Err(format!("the shipped thresholds are looser than those of the {name}").into());
        }
    }
    println!(
        "Shipped: {} degrees, share {}: for each half no looser than what the other half chooses, so that neither half is \
         judged by thresholds made for it.\n",
        shipped.cable_turn_deg_at_least, shipped.chest_path_share_at_most
    );
    report(&halves, &shipped)
}

fn has_electrode_problem(record: &Record) -> bool {
    record.quality.iter().any(|(column, _)| *column == "electrodes_problems")
}

#[expect(clippy::cast_possible_truncation, reason = "ten seconds are few samples")]
fn base(record: &Record) -> Result<Base, Failure> {
    let waveform = &record.recording.waveforms[0];
    let signal = |lead: &Lead| waveform.lead(lead).ok_or_else(|| format!("{}: no lead {lead}", record.name));
    // LUDB declares another gain for each lead, though its counts fit as if all were the same: one gain for all.
    let one_step = record.name.starts_with("ludb").then(|| signal(&Lead::I)).transpose()?.map(|one| one.step);
    let mut leads: Eight = Default::default();
    for (own, lead) in leads.iter_mut().zip(&Lead::EIGHT) {
        let mut signal = signal(lead)?.clone();
        if let Some(step) = one_step {
            signal.offset = Exact::ZERO;
            signal.step = step;
        }
        let ten_seconds = (10.0 * waveform.rate().per_second().to_f64()).round() as usize;
        *own = signal.microvolts();
        own.truncate(ten_seconds);
    }
    Ok(Base { name: record.name.clone(), has_p_waves: record.has_p_waves, rate: waveform.rate(), leads })
}

/// The twelve leads as an electrocardiograph would store them, in steps of a microvolt.
#[expect(clippy::cast_possible_truncation, reason = "an ECG is a few thousand microvolts")]
fn recording(rate: Rate, eight: &Eight) -> Result<Recording, Failure> {
    let step = Step::new(Exact::whole(1000)).ok_or("a step of zero")?;
    let (one, two) = (&eight[0], &eight[1]);
    let mix = |a: f64, b: f64| one.iter().zip(two).map(|(x, y)| a * x + b * y).collect::<Vec<f64>>();
    let limb =
        [mix(1.0, 0.0), mix(0.0, 1.0), mix(-1.0, 1.0), mix(-0.5, -0.5), mix(1.0, -0.5), mix(-0.5, 1.0)];
    let all = limb.iter().chain(&eight[2..]);
    let signal = |(values, lead): (&Vec<f64>, Lead)| {
        Signal::new(lead, step, values.iter().map(|value| value.round() as i32).collect())
    };
    let waveform = Waveform::new(rate, all.zip(Lead::TWELVE).map(signal).collect())?;
    Ok(Recording { waveforms: vec![waveform], ..Recording::default() })
}

/// The codes of the cable rules that warn.
fn warnings(base: &Base, eight: &Eight, policy: &Policy) -> Result<Vec<(&'static str, String)>, Failure> {
    findings(base, eight, policy, Verdict::Warn)
}

fn findings(
    base: &Base,
    eight: &Eight,
    policy: &Policy,
    at_least: Verdict,
) -> Result<Vec<(&'static str, String)>, Failure> {
    let assessment = run(&recording(base.rate, eight)?, None, policy, &CivilTime::default());
    let is_cable = |code: &str| code.starts_with("cable-");
    let findings = assessment.findings.into_iter();
    Ok(findings
        .filter(|finding| {
            is_cable(finding.code) && finding.verdict >= at_least && finding.verdict != Verdict::NotAssessed
        })
        .map(|finding| (finding.code, finding.text))
        .collect())
}

/// The smallest turn and the largest share tried that raise no false alert on these recordings.
fn tuned_on(bases: &[Base], name: &str) -> Result<Policy, Failure> {
    println!("Chosen on the {name}:\n");
    println!(
        "| `cable-limb`, degrees | false alerts | found, with P waves | `cable-chest`, share | false alerts | found |"
    );
    println!("|---|---|---|---|---|---|");
    let with_p: Vec<&Base> = bases.iter().filter(|base| base.has_p_waves).collect();
    let mut chosen =
        Policy { cable_turn_deg_at_least: 180.0, chest_path_share_at_most: 0.0, ..Policy::default() };
    for (degrees, share) in [(60.0, 0.7), (40.0, 0.75), (30.0, 0.8), (20.0, 0.85), (10.0, 0.9), (0.0, 0.95)] {
        let policy =
            Policy { cable_turn_deg_at_least: degrees, chest_path_share_at_most: share, ..Policy::default() };
        let (limb, chest) = (alerts(bases, &policy, "cable-limb")?, alerts(bases, &policy, "cable-chest")?);
        let (found_limb, of_limb) = found(with_p.iter().copied(), &LIMB, &policy, "cable-limb")?;
        let (found_chest, of_chest) = found(bases.iter(), &CHEST, &policy, "cable-chest")?;
        println!(
            "| {degrees:.0} | {limb} of {n} | {found_limb} of {of_limb} | {share} | {chest} of {n} | {found_chest} of {of_chest} |",
            n = bases.len()
        );
        // A turn of zero would take the least improvement for an exchange.
        if limb == 0 && degrees > 0.0 {
            chosen.cable_turn_deg_at_least = degrees;
        }
        if chest == 0 {
            chosen.chest_path_share_at_most = share;
        }
    }
    println!(
        "\nTaken: {} degrees, share {}.\n",
        chosen.cable_turn_deg_at_least, chosen.chest_path_share_at_most
    );
    Ok(chosen)
}

fn alerts(bases: &[Base], policy: &Policy, code: &str) -> Result<usize, Failure> {
    bases.iter().map(|base| fires(base, &base.leads, policy, code).map(usize::from)).sum()
}

fn found<'a>(
    bases: impl Iterator<Item = &'a Base> + Clone,
    names: &[&str],
    policy: &Policy,
    code: &str,
) -> Result<(usize, usize), Failure> {
    let (mut found, mut of) = (0, 0);
    for exchange in exchanges().iter().filter(|exchange| names.contains(&exchange.name.as_str())) {
        for base in bases.clone() {
            found += usize::from(fires(base, &(exchange.apply)(&base.leads), policy, code)?);
            of += 1;
        }
    }
    Ok((found, of))
}

fn fires(base: &Base, eight: &Eight, policy: &Policy, code: &str) -> Result<bool, Failure> {
    Ok(warnings(base, eight, policy)?.iter().any(|(own, _)| *own == code))
}

fn report(halves: &[Vec<Base>; 2], policy: &Policy) -> Result<(), Failure> {
    let all = || halves.iter().flatten();
    let of = all().count();
    let with_p = all().filter(|base| base.has_p_waves).count();
    let mut alerts = Vec::new();
    for base in all() {
        for (code, text) in warnings(base, &base.leads, policy)? {
            alerts.push(format!("{} ({code}: {})", base.name, text.split(':').next().unwrap_or_default()));
        }
    }
    println!("As recorded, `cable-neutral`, `cable-limb` and `cable-chest` together:\n");
    println!("| recordings | false alerts | % (95 % interval) | which |");
    println!("|---|---|---|---|");
    let which = if alerts.is_empty() { "-".to_owned() } else { alerts.join("; ") };
    println!("| {of} | {} | {} | {which} |", alerts.len(), interval(alerts.len(), of));
    println!("\nWith one exchange simulated, a WARN by any of the three (for V5/V6 a NOTE):\n");
    println!(
        "| exchange | found | % (95 % interval) | found, with P waves | % (95 % interval) | published |"
    );
    println!("|---|---|---|---|---|---|");
    let mut missed = Vec::new();
    for exchange in exchanges() {
        let (mut found, mut found_p) = (0, 0);
        for base in all() {
            let least = if exchange.name == NOTE_ONLY { Verdict::Note } else { Verdict::Warn };
            let hit = !findings(base, &(exchange.apply)(&base.leads), policy, least)?.is_empty();
            found += usize::from(hit);
            found_p += usize::from(hit && base.has_p_waves);
            if !hit && base.has_p_waves && exchange.name == ROWS[0].0 {
                missed.push(base.name.clone());
            }
        }
        let name = if exchange.name == NOTE_ONLY { "V5/V6 (NOTE)" } else { &exchange.name };
        println!(
            "| {name} | {found} of {of} | {} | {found_p} of {with_p} | {} | {} |",
            interval(found, of),
            interval(found_p, with_p),
            published(&exchange.name)
        );
    }
    let missed = if missed.is_empty() { "none".to_owned() } else { missed.join(", ") };
    println!("\nRA/LA missed though P waves are there: {missed}.\n");
    limb_with_chest_table(halves, policy)?;
    by_rule(halves, policy)
}

/// Which share of the exchanges of a limb cable with a chest cable is found.
fn limb_with_chest_table(halves: &[Vec<Base>; 2], policy: &Policy) -> Result<(), Failure> {
    let of = halves.iter().flatten().count();
    println!("A limb cable with a chest cable, found of {of} (a WARN by any of the three rules):\n");
    println!("| | V1 | V2 | V3 | V4 | V5 | V6 | all, % (95 % interval) |");
    println!("|---|---|---|---|---|---|---|---|");
    for (limb, name) in ["RA", "LA", "LL", "RL"].into_iter().enumerate() {
        let mut found = [0; 6];
        for (chest, found) in found.iter_mut().enumerate() {
            for base in halves.iter().flatten() {
                let warned = !warnings(base, &limb_with_chest(&base.leads, limb, chest), policy)?.is_empty();
                *found += usize::from(warned);
            }
        }
        let cells: Vec<String> = found.iter().map(usize::to_string).collect();
        println!("| {name} | {} | {} |", cells.join(" | "), interval(found.iter().sum(), 6 * of));
    }
    println!();
    Ok(())
}

/// For each rule the recordings as they are on which it stays silent, and those on which it cannot be judged.
fn by_rule(halves: &[Vec<Base>; 2], policy: &Policy) -> Result<(), Failure> {
    println!("Each rule on the recordings as they are:\n");
    println!("| rule | silent | specificity, % (95 % interval) | NOT ASSESSED |");
    println!("|---|---|---|---|");
    for code in ["cable-neutral", "cable-limb", "cable-chest"] {
        let (mut silent, mut open, mut of) = (0, 0, 0);
        for base in halves.iter().flatten() {
            let assessment = run(&recording(base.rate, &base.leads)?, None, policy, &CivilTime::default());
            let verdicts: Vec<Verdict> =
                assessment.findings.iter().filter(|f| f.code == code).map(|f| f.verdict).collect();
            of += 1;
            silent += usize::from(!verdicts.contains(&Verdict::Warn));
            open += usize::from(verdicts.contains(&Verdict::NotAssessed));
        }
        println!("| `{code}` | {silent} of {of} | {} | {open} |", interval(silent, of));
    }
    println!();
    Ok(())
}

/// What was published of other methods, on other and larger sets.
fn published(exchange: &str) -> &'static str {
    match exchange {
        "RA/LA" => "Se 99.1 % with P, 94.5 % without; best rules 93.9 and 39.3 % (Hedén 1995, 11 009 ECGs)",
        "LA/LL" => "Se 22 % (de Bie 2014); about 18 % (Kors 2001)",
        "RA/LL" => "Se 93 % or more for most exchanges, Sp 99.5 % or more (Kors 2001)",
        "RA/RL" | "LA/RL" => "limb: Se 92.1 %, Sp 96.1 % (Figueroa 2023, 545 ECGs)",
        "V1/V2" | "V2/V3" | "V3/V4" | "V4/V5" | "V5/V6" => {
            "chest: Se 95, Sp 91 % (Jekova 2013, 23 exchanges)"
        }
        _ => "",
    }
}

const LIMB: [&str; 4] = ["RA/LA", "RA/LL", "RA on LA, LA on LL, LL on RA", "RA on LL, LA on RA, LL on LA"];
/// The exchange that is a NOTE only.
const NOTE_ONLY: &str = "V5/V6";
const CHEST: [&str; 6] = ["V1/V2", "V1/V3", "V2/V3", "V3/V4", "V4/V5", "V5/V6"];

/// Cables, then I, II and the shift of the chest leads as sums of the true I and II.
type Row = (&'static str, [f64; 2], [f64; 2], [f64; 2]);

/// The rows of the transformation table.
const ROWS: [Row; 10] = [
    ("RA/LA", [-1.0, 0.0], [-1.0, 1.0], [0.0, 0.0]),
    ("RA/LL", [1.0, -1.0], [0.0, -1.0], [0.0, 0.0]),
    ("RA on LA, LA on LL, LL on RA", [-1.0, 1.0], [-1.0, 0.0], [0.0, 0.0]),
    ("RA on LL, LA on RA, LL on LA", [0.0, -1.0], [1.0, -1.0], [0.0, 0.0]),
    ("LA/LL", [0.0, 1.0], [1.0, 0.0], [0.0, 0.0]),
    ("RA/RL", [1.0, -1.0], [0.0, 0.0], [0.0, -1.0 / 3.0]),
    ("LA/RL", [0.0, 1.0], [0.0, 1.0], [1.0 / 3.0, -1.0 / 3.0]),
    ("LL/RL", [1.0, 0.0], [0.0, 1.0], [0.0, 0.0]),
    ("both arms with the legs, same side", [0.0, 0.0], [1.0, -1.0], [0.0, -1.0 / 3.0]),
    ("both arms with the legs, crossed", [0.0, 0.0], [0.0, -1.0], [1.0 / 3.0, -1.0 / 3.0]),
];

fn exchanges() -> Vec<Exchange> {
    let mut all: Vec<Exchange> = Vec::new();
    for (name, one, two, shift) in ROWS {
        let apply = move |eight: &Eight| {
            let mix = |[a, b]: [f64; 2]| {
                eight[0].iter().zip(&eight[1]).map(|(x, y)| a * x + b * y).collect::<Vec<_>>()
            };
            let (shift, mut new) = (mix(shift), eight.clone());
            (new[0], new[1]) = (mix(one), mix(two));
            for lead in &mut new[2..] {
                lead.iter_mut().zip(&shift).for_each(|(value, shift)| *value += shift);
            }
            new
        };
        all.push(Exchange { name: name.to_owned(), apply: Box::new(apply) });
    }
    for (a, b) in [(0, 1), (0, 2), (1, 2), (2, 3), (3, 4), (4, 5)] {
        let apply = move |eight: &Eight| {
            let mut new = eight.clone();
            new.swap(2 + a, 2 + b);
            new
        };
        all.push(Exchange { name: format!("V{}/V{}", a + 1, b + 1), apply: Box::new(apply) });
    }
    all
}

/// One limb cable (0 right arm, 1 left arm, 2 left leg, 3 right leg) with one chest cable: electrode potentials
/// against the central terminal are 2/3 of the augmented leads, so all leads follow from the potentials. The right leg
/// electrode is part of no lead: its cable puts the left leg's potential on the chest lead.
fn limb_with_chest(eight: &Eight, limb: usize, chest: usize) -> Eight {
    let mut new = eight.clone();
    for at in 0..eight[0].len() {
        let (one, two) = (eight[0][at], eight[1][at]);
        let mut limbs = [-(one + two) / 3.0, (2.0 * one - two) / 3.0, (2.0 * two - one) / 3.0];
        let mut chests: [f64; 6] = std::array::from_fn(|lead| eight[2 + lead][at]);
        match limbs.get_mut(limb) {
            Some(limb) => std::mem::swap(limb, &mut chests[chest]),
            None => chests[chest] = limbs[2],
        }
        let terminal = limbs.iter().sum::<f64>() / 3.0;
        new[0][at] = limbs[1] - limbs[0];
        new[1][at] = limbs[2] - limbs[0];
        for (lead, potential) in chests.iter().enumerate() {
            new[2 + lead][at] = potential - terminal;
        }
    }
    new
}
