//! Makes the recordings of examples/larkmoor: one morning and afternoon at the invented day clinic of Larkmoor.
//!
//! `cargo run -p ecgkeep-examples --bin make_larkmoor [FOLDER]` writes them to FOLDER, or where they are kept. The
//! bytes depend on this program alone. Everything is invented and synthetic.

use std::error::Error;
use std::path::{Path, PathBuf};

use ecgkeep_demo::{Fault, Spec, Truth, recording};
use ecgkeep_format::{File, Options};
use ecgkeep_recording::{
    Acquisition, Coded, Filing, Identifier, Lead, PartialDate, Person, PersonName, Quantity, Sex, Subject,
};
use ecgkeep_wfdb::WFDB;

fn main() -> Result<(), Box<dyn Error>> {
    let folder = std::env::args_os().nth(1).map_or_else(kept, PathBuf::from);
    std::fs::create_dir_all(&folder)?;
    for file in files()? {
        std::fs::write(folder.join(&file.name), &file.bytes)?;
        println!("{} ({} bytes)", folder.join(&file.name).display(), file.bytes.len());
    }
    Ok(())
}

/// Where the recordings are kept.
fn kept() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("larkmoor")
}

/// Every file of the folder.
fn files() -> Result<Vec<File>, Box<dyn Error>> {
    let mut files = Vec::new();
    for case in cases()? {
        let made = recording(&case.spec).recording;
        let options = Options::default().with("storage", "16");
        let written = ecgkeep_format::write(&WFDB, &[made], case.record, &options)?;
        if let Some(loss) = written.losses.first() {
            return Err(format!("{}: {loss}", case.record).into());
        }
        files.extend(written.files);
    }
    toml::from_str::<Filing>(FILING)?;
    files.push(File { name: format!("{BARE}.filing.toml"), bytes: FILING.into() });
    files.push(File { name: "README.md".to_owned(), bytes: readme(&cases()?).into_bytes() });
    Ok(files)
}

/// One recording of the day.
struct Case {
    record: &'static str,
    /// What is wrong with it, for people.
    fault: &'static str,
    spec: Spec,
}

const BARE: &str = "lm10_bare";

fn cases() -> Result<Vec<Case>, Box<dyn Error>> {
    let flat = Fault::FlatLead { lead: Lead::V4, from_s: 0.0, to_s: 10.0 };
    let mut cases = vec![
        case("lm01_faultless", "none", at("08:42:10", QUILL)?, person(TALLOWFIELD)?, heart(65.0, 42.0), None),
        case(
            "lm02_flat_lead",
            "V4 shows no tracing: its cable is off",
            at("08:58:37", QUILL)?,
            person(SOLVENG)?,
            heart(72.0, 25.0),
            Some(flat),
        ),
        case(
            "lm03_mains_hum",
            "mains hum of 50 Hz",
            at("09:20:05", BRACKWATER)?,
            person(OKONRU)?,
            heart(78.0, 58.0),
            Some(Fault::Hum { hz: 50.0, microvolts: 150.0 }),
        ),
        case(
            "lm04_wander",
            "the baseline wanders at 0.22 Hz",
            at("09:41:52", QUILL)?,
            person(HOLLISTED)?,
            heart(61.0, 50.0),
            Some(Fault::Wander { hz: 0.22, microvolts: 900.0 }),
        ),
        case(
            "lm05_muscle_noise",
            "muscle noise of tense arms",
            at("10:03:28", BRACKWATER)?,
            person(FERRANT)?,
            heart(84.0, 18.0),
            Some(Fault::MuscleNoise { microvolts_rms: 110.0 }),
        ),
        case(
            "lm06_exchanged_arms",
            "the cables of right arm and left arm are exchanged",
            at("10:25:44", QUILL)?,
            person(ALDERMAST)?,
            heart(68.0, 36.0),
            Some(Fault::ExchangedArms),
        ),
        case(
            "lm07_one_identifier",
            "one identifier of the patient only: the name, without number and birth date",
            at("11:07:19", BRACKWATER)?,
            person(WYNHOLLOW)?,
            heart(70.0, 54.0),
            Some(Fault::NoIdentifier),
        ),
        case(
            "lm08_no_operator",
            "no operator is named",
            at("11:30:51", QUILL)?,
            person(DURROWBY)?,
            heart(58.0, 32.0),
            Some(Fault::NoOperator),
        ),
        case(
            "lm09_short",
            "four seconds instead of ten",
            at("13:48:02", BRACKWATER)?,
            person(MARROWICK)?,
            heart(74.0, 47.0),
            Some(Fault::Short { seconds: 4.0 }),
        ),
        case(
            BARE,
            "none; the record itself names nobody, the filing file beside it does",
            Acquisition::default(),
            Subject::default(),
            heart(63.0, 39.0),
            None,
        ),
    ];
    for (seed, case) in (301..).zip(&mut cases) {
        case.spec.seed = seed;
        // a device that measures a faulty tracing prints faulty numbers; those here are true
        let is_sound =
            case.spec.faults.iter().all(|fault| matches!(fault, Fault::NoIdentifier | Fault::NoOperator));
        case.spec.with_measurements = is_sound && case.record != BARE;
    }
    Ok(cases)
}

fn case(
    record: &'static str,
    fault: &'static str,
    acquisition: Acquisition,
    subject: Subject,
    heart: Spec,
    faults: Option<Fault>,
) -> Case {
    Case { record, fault, spec: Spec { acquisition, subject, faults: faults.into_iter().collect(), ..heart } }
}

fn heart(heart_rate: f64, axis_deg: f64) -> Spec {
    Spec { heart_rate, axis_deg, ..Spec::default() }
}

/// Staff: name and number.
type Staff = (&'static str, &'static str);
const QUILL: Staff = ("R. Quill", "LM-N-031");
const BRACKWATER: Staff = ("I. Brackwater", "LM-N-044");

/// The clinic's way of recording, at this time of 2 March 2026.
fn at(time: &str, (name, number): Staff) -> Result<Acquisition, Box<dyn Error>> {
    let clock = time.replace(':', "");
    Ok(Acquisition {
        start: format!("2026-03-02T{time}+01:00").parse()?,
        operators: vec![Person {
            name: PersonName::from_text(name),
            id: Some(clinic(number, "staff number")),
        }],
        room: Some("Room 3".to_owned()),
        order_number: Some(format!("LM-260302-{}", &clock[..4])),
        indications: vec![Coded::from_text("before day surgery")],
        ..Spec::default().acquisition
    })
}

/// A patient: number, family and given name, birth date, sex, age on the day.
type Patient = (&'static str, &'static str, &'static str, &'static str, Sex, i64);
const TALLOWFIELD: Patient = ("LM-204417", "Tallowfield", "Maren", "1971-06-19", Sex::Female, 54);
const SOLVENG: Patient = ("LM-117093", "Solveng", "Edric", "1948-11-03", Sex::Male, 77);
const OKONRU: Patient = ("LM-231860", "Okonru", "Thessaly", "1986-01-27", Sex::Female, 40);
const HOLLISTED: Patient = ("LM-189934", "Hollisted", "Bram", "1963-09-12", Sex::Male, 62);
const FERRANT: Patient = ("LM-103356", "Ferrant", "Ysolde", "1939-04-08", Sex::Female, 86);
const ALDERMAST: Patient = ("LM-226011", "Aldermast", "Corin", "1979-12-21", Sex::Male, 46);
const WYNHOLLOW: Patient = ("LM-198072", "Wynhollow", "Petra", "1958-07-30", Sex::Female, 67);
const DURROWBY: Patient = ("LM-174528", "Durrowby", "Ansel", "1957-02-14", Sex::Male, 69);
const MARROWICK: Patient = ("LM-240103", "Marrowick", "Liesl", "1992-10-05", Sex::Female, 33);

fn person((number, family, given, born, sex, age): Patient) -> Result<Subject, Box<dyn Error>> {
    Ok(Subject {
        identifiers: vec![clinic(number, "medical record number")],
        name: PersonName {
            family: Some(family.to_owned()),
            given: Some(given.to_owned()),
            ..PersonName::default()
        },
        birth_date: Some(born.parse::<PartialDate>()?),
        sex: Some(sex),
        age: Some(Quantity::new(age, "a")),
        ..Subject::default()
    })
}

fn clinic(value: &str, kind: &str) -> Identifier {
    Identifier {
        value: value.to_owned(),
        assigner: Some("Larkmoor Day Clinic".to_owned()),
        kind: Some(kind.to_owned()),
    }
}

/// What a nurse supplied beside the bare record.
const FILING: &str = r#"# What lm10_bare.hea has no place for, supplied by the person at the bedside. It is kept beside the
# recording and printed beside it, never merged into it. Everything is invented.
at = "2026-03-02T14:20:00+01:00"

[supplied_by]
name = { text = "R. Quill" }
id = { value = "LM-N-031", assigner = "Larkmoor Day Clinic", kind = "staff number" }

[subject]
identifiers = [{ value = "LM-212745", assigner = "Larkmoor Day Clinic", kind = "medical record number" }]
name = { family = "Ebberfold", given = "Jonas" }
birth_date = "1969-08-27"
sex = "male"

[acquisition]
start = "2026-03-02T14:12:33+01:00"
operators = [{ name = { text = "R. Quill" }, id = { value = "LM-N-031" } }]
institution = "Larkmoor Day Clinic"
department = "Cardiography"
room = "Room 3"
placement = { text = "standard 12-lead" }
order_number = "LM-260302-1412"
"#;

fn readme(cases: &[Case]) -> String {
    let mut text = README.to_owned();
    for Case { record, fault, spec } in cases {
        let name = spec.subject.name.line();
        let patient = if name.is_empty() { "(Jonas Ebberfold)" } else { &name };
        text.push_str(&format!("| `{record}.hea` | {patient} | {fault}{} |\n", size(&recording(spec).truth)));
    }
    text
}

/// How large a fault of the signal is, in the lead that has most of it.
fn size(truth: &Truth) -> String {
    let Some(fault) = truth.faults.first() else { return String::new() };
    let measure = match fault.fault {
        Fault::Hum { .. } | Fault::Wander { .. } => "peak",
        Fault::MuscleNoise { .. } => "rms",
        _ => return String::new(),
    };
    let largest = fault.leads.iter().max_by(|(_, a), (_, b)| a.total_cmp(b));
    largest.map_or_else(String::new, |(lead, size)| {
        format!(": {size:.0} µV {measure} in lead {lead}, less in the others")
    })
}

const README: &str = "# A day at Larkmoor

Resting 12-lead ECGs from the Larkmoor day clinic, 2 March 2026. **Everything here is invented and synthetic:** the
clinic, the people, the staff, the device and its maker. The tracings come from a mathematical model (`ecgkeep-demo`)
and resemble an ECG closely enough to try ecgkeep on; they show no person and no disease, and are of no use for
teaching diagnosis.

Each recording is a WFDB record: a text header (`.hea`) and its samples (`.dat`, 16 bit, 1 µV per count, 500 samples
per second). The header's lines `#<key>: value` say who was recorded, when, by whom and with what. One record is
bare: what a person supplied for it stands in the `.filing.toml` beside it.

Two recordings have no fault, each of the others has exactly one:

| Record | Patient | Fault |
|---|---|---|
";

#[cfg(test)]
mod tests {
    use ecgkeep_checks::{Policy, Verdict};

    use super::*;

    #[test]
    fn the_folder_holds_what_the_program_makes() {
        let made = files().expect("the program makes its files");
        for file in &made {
            let kept = std::fs::read(kept().join(&file.name)).expect("the folder holds every file");
            assert!(
                kept == file.bytes,
                "{} differs: run make_larkmoor and look at the difference",
                file.name
            );
        }
        let count = std::fs::read_dir(kept()).expect("the folder is there").count();
        assert_eq!(count, made.len(), "a file in the folder that the program does not make");
    }

    #[test]
    fn ages_are_those_of_the_day() {
        for (_, family, _, born, _, age) in
            [TALLOWFIELD, SOLVENG, OKONRU, HOLLISTED, FERRANT, ALDERMAST, WYNHOLLOW, DURROWBY, MARROWICK]
        {
            let born: PartialDate = born.parse().expect("a date");
            let had_birthday = (born.month(), born.day()) <= (Some(3), Some(2));
            let years = 2026 - i64::from(born.year()) - i64::from(!had_birthday);
            assert_eq!(years, age, "{family}");
        }
    }

    /// The rules that find a fault of these recordings; none of them may speak where the fault is another.
    const FOUND_BY: &[(&str, &[&str])] = &[
        ("lm02_flat_lead", &["lead-flat"]),
        ("lm03_mains_hum", &["mains-hum"]),
        ("lm04_wander", &["baseline-wander"]),
        ("lm05_muscle_noise", &["muscle-noise"]),
        ("lm06_exchanged_arms", &["cable-limb"]),
        ("lm07_one_identifier", &["identity-two-identifiers"]),
        ("lm08_no_operator", &["identity-operator"]),
        ("lm09_short", &["duration"]),
    ];

    #[test]
    fn the_checks_find_each_fault_and_nothing_on_the_faultless() {
        let now = "2026-03-02T18:00:00+01:00".parse().expect("a time");
        let filing: Filing = toml::from_str(FILING).expect("the filing file is read by the program too");
        for case in cases().expect("the cases are made of constants") {
            let filing = (case.record == BARE).then_some(&filing);
            let made = recording(&case.spec).recording;
            let assessment = ecgkeep_checks::run(&made, filing, &Policy::default(), &now);
            let grave = assessment.findings.iter().filter(|finding| finding.verdict >= Verdict::Warn);
            let codes: Vec<&str> = grave.map(|finding| finding.code).collect();
            if case.spec.faults.is_empty() {
                assert_eq!(codes, [""; 0], "{}", case.record);
            }
            for (record, rules) in FOUND_BY {
                for rule in *rules {
                    assert_eq!(codes.contains(rule), *record == case.record, "{}: {rule}", case.record);
                }
            }
        }
    }

    #[test]
    fn every_faulty_recording_has_one_fault() {
        let cases = cases().expect("the cases are made of constants");
        let faultless = cases.iter().filter(|case| case.spec.faults.is_empty()).count();
        assert_eq!((cases.len(), faultless), (10, 2));
        assert!(cases.iter().all(|case| case.spec.faults.len() <= 1));
    }
}
