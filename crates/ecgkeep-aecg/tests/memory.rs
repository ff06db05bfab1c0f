//! Large harm in little memory: each document is refused within 64 MiB over its own size, and one of countless small
//! items within twice its size more, for as many as a long document of the tree holds are read. Alone in its program,
//! for the peak is the whole process's.

use ecgkeep_aecg::AECG;
use ecgkeep_format::{File, Format, Kind, Limits, Memory};

const MOST: u64 = 64 << 20;

/// A figure of this process in bytes; `None` where the system does not tell.
fn figure(name: &str) -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find_map(|line| line.strip_prefix(name))?;
    line.trim_start_matches(':').trim().strip_suffix(" kB")?.trim().parse::<u64>().ok().map(|kilo| kilo << 10)
}

fn peak_of(document: String, limits: &Limits) -> Option<(u64, Kind)> {
    let source = Memory::new("r.xml", vec![File { name: "r.xml".into(), bytes: document.into_bytes() }]);
    // a new peak from here on (proc(5), clear_refs)
    std::fs::write("/proc/self/clear_refs", "5").ok()?;
    let before = figure("VmRSS")?;
    let error = AECG.read(&source, limits).expect_err("is refused");
    let peak = figure("VmHWM")?;
    Some((peak.saturating_sub(before), error.kind()))
}

#[test]
fn hostile_documents_are_refused_within_64_mib() {
    const SIZE: usize = 200 << 20;
    let head = "<AnnotatedECG xmlns=\"urn:hl7-org:v3\">";
    let digits = format!(
        "{head}<component><series><code code=\"RHYTHM\"/><component><sequenceSet><component><sequence>\
         <code code=\"MDC_ECG_LEAD_I\"/><value><digits>"
    );
    let few = Limits { samples: 1 << 22, ..Limits::default() };
    // head, what is repeated, how often: one document is made at a time
    let cases: [(&str, &str, &str, usize); 9] = [
        ("a text of 200 MB", head, "<text>", SIZE),
        ("an attribute of 200 MB", head, "<id root=\"", SIZE),
        ("a number of 200 MB", &digits, "7", SIZE),
        ("200 MB of digits beyond the limit", &digits, "7 ", SIZE / 2),
        ("20,000 nested elements", head, "<a>", 20_000),
        ("5,000,000 elements", head, "<a/>", 5_000_000),
        ("5,000,000 texts", head, "<a>b</a>", 5_000_000),
        ("5,000,000 attributes", head, "<a b='' c='' d='' e=''/>", 1_250_000),
        ("a start tag of 200 MB", head, "<a", SIZE / 5),
    ];
    for (name, head, part, count) in cases {
        let document = match part {
            "<text>" => format!("{head}<text>{}</text></AnnotatedECG>", "x".repeat(count)),
            "<id root=\"" => format!("{head}<id root=\"{}\"/></AnnotatedECG>", "x".repeat(count)),
            "<a" => format!("{head}<a{}", " b=''".repeat(count)),
            part => format!("{head}{}", part.repeat(count)),
        };
        let limits = if part == "7 " { few } else { Limits::default() };
        let most = if name.starts_with("5,000,000") { MOST + 2 * document.len() as u64 } else { MOST };
        let Some((over, kind)) = peak_of(document, &limits) else {
            println!("skipped: peak memory of {name}: this system does not tell it");
            return;
        };
        println!("{name}: {} MiB over the input, {kind:?}", over >> 20);
        assert!(over <= most, "{name}: {} MiB over the input", over >> 20);
    }
}
