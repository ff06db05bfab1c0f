//! A format of one's own beside the built-in ones: lines of whole microvolts of one lead, sampled at 500 Hz.
//!
//!     cargo run -p ecgkeep-examples --bin add_a_format
//!
//! The format is a value that answers the six questions of `Format`; `write` measures what it loses by reading it back.

use ecgkeep::format::{
    About, Carries, Cursor, Error, File, Format, Kind, Limits, Match, Memory, Options, Place, Read, Result,
    Source, write,
};
use ecgkeep::recording::{Exact, Field, Lead, Rate, Recording, Signal, Step, Waveform};

/// Lines of microvolts.
struct Microvolts;

const ABOUT: About = About {
    id: "microvolts",
    title: "Lines of microvolts",
    standard: "none: made for this example",
    endings: &["uv"],
    reads: "one lead at 500 Hz",
    writes: "one lead at 500 Hz",
    status: "an example",
};

const FIRST_LINE: &str = "# microvolts, 500 Hz";
const NO: Carries = Carries::No { why: "there are only numbers", clause: "this example" };
const FIXED: Carries =
    Carries::Limited { why: "one lead, in whole microvolts, at 500 Hz", clause: "this example" };

impl Format for Microvolts {
    fn about(&self) -> &'static About {
        &ABOUT
    }

    fn probe(&self, _name: &str, head: &[u8]) -> Match {
        if head.starts_with(FIRST_LINE.as_bytes()) { Match::Certain } else { Match::No }
    }

    fn read(&self, source: &dyn Source, limits: &Limits) -> Result<Read> {
        let bytes = source.bytes(source.main(), limits.file_bytes)?;
        let at = |line: usize| Place::file(source.main()).line(line as u64);
        let text =
            str::from_utf8(&bytes).map_err(|error| Error::malformed(at(1), "not UTF-8").because(error))?;
        let mut samples = Vec::new();
        for (line, number) in text.lines().zip(1..).skip(1) {
            samples.push(line.parse::<i32>().map_err(|error| {
                Error::malformed(at(number), format!("not a whole number: {line:?}")).because(error)
            })?);
        }
        let step =
            Step::new(Exact::whole(1000)).ok_or_else(|| Error::new(Kind::Internal, "a step of zero"))?;
        let signal = Signal::new(Lead::II, step, samples);
        let rate =
            Rate::new(Exact::whole(500)).ok_or_else(|| Error::new(Kind::Internal, "a rate of zero"))?;
        let waveform = Waveform::new(rate, vec![signal])
            .map_err(|error| Error::new(Kind::Internal, "one signal has one length").because(error))?;
        Ok(Read {
            recordings: vec![Recording { waveforms: vec![waveform], ..Recording::default() }],
            notes: vec![],
        })
    }

    fn encode(&self, recordings: &[Recording], stem: &str, _options: &Options) -> Result<Vec<File>> {
        let refuse = |what: &str| Error::new(Kind::Refused, what.to_owned());
        let [recording] = recordings else { return Err(refuse("one recording to a file")) };
        let waveform = recording.waveforms.first().ok_or_else(|| refuse("no waveform"))?;
        let signal = waveform.signals().first().ok_or_else(|| refuse("no lead"))?;
        let mut text = format!("{FIRST_LINE}\n");
        for sample in 0..waveform.length() {
            let microvolts = signal.nanovolts(sample).and_then(|value| value.over(Exact::whole(1000)));
            let whole = microvolts.filter(|value| value.denominator() == 1);
            let whole =
                whole.ok_or_else(|| refuse("a sample is missing or no whole number of microvolts"))?;
            text.push_str(&format!("{}\n", whole.numerator()));
        }
        Ok(vec![File { name: format!("{stem}.uv"), bytes: text.into_bytes() }])
    }

    // A format of the workspace answers for every field by name, without `_`; an example may be short.
    fn carries(&self, field: Field) -> Carries {
        match field {
            Field::Rate | Field::Lead | Field::Voltage | Field::Waveform | Field::Length => FIXED,
            _ => NO,
        }
    }
}

fn main() -> Result<()> {
    let source = Memory::new(
        "a.uv",
        vec![File { name: "a.uv".into(), bytes: b"# microvolts, 500 Hz\n-15\n0\n600\n".to_vec() }],
    );
    let head = source.bytes(source.main(), u64::MAX)?;
    println!("recognised: {:?}", Microvolts.probe("a.uv", &head));
    let (recording, _notes) = Microvolts.read(&source, &Limits::default())?.one()?;
    println!("samples: {:?}", recording.waveforms[0].signals()[0].samples);

    // Into a format of the list, and back into this one.
    let json =
        write(ecgkeep::format_by_id("json")?, std::slice::from_ref(&recording), "a", &Options::default())?;
    println!("as JSON: {} bytes, {} losses", json.files[0].bytes.len(), json.losses.len());
    let own = write(&Microvolts, std::slice::from_ref(&recording), "b", &Options::default())?;
    println!("as {}: {} losses", own.files[0].name, own.losses.len());

    // A cursor over bytes knows its place, so that errors point.
    let mut cursor = Cursor::new("a.bin", &[1]);
    if let Err(error) = cursor.u16() {
        println!("an error of a binary format: {error}");
    }
    Ok(())
}
