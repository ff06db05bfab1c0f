//! The slow-input rule: no input of n bytes takes more than c x n time or memory. Families of inputs made to be slow, each
//! at two sizes; per reader and family the processor time and the peak of memory for one byte, and by how much the
//! time of one byte grows from the small to the large one (1.0: in proportion).
//!
//!     cargo bench -p ecgkeep-tests --bench slow_input
//!
//! Time is that of the processor, not of the clock, so that a busy machine does not blur it; memory is what the process
//! grows by (proc(5)), the input itself left out. Where a system does not tell these, nothing is measured.

use std::fmt::Write as _;

use ecgkeep_tests::fuzzed::target;

const SMALL: usize = 64 << 10;
const LARGE: usize = 512 << 10;

/// A fuzz target, what is tried on it, and the input of about so many bytes.
type Family = (&'static str, &'static str, fn(usize) -> Vec<u8>);

const FAMILIES: &[Family] = &[
    ("wfdb", "comments", |n| wfdb_header("", "#x\n", n)),
    ("wfdb", "info strings", |n| wfdb_header("#<ecg-info>: 1\n", "#<acq.remark>: x\n", n)),
    ("wfdb", "unknown info strings", |n| wfdb_header("#<ecg-info>: 1\n", "#<a.b>: x\n", n)),
    ("wfdb", "statements", |n| wfdb_header("#<ecg-info>: 1\n", "#<statement>: x\n", n)),
    ("wfdb", "null segments", |n| master("~ 1\n", n)),
    ("wfdb", "one segment repeated", |n| master("s 1\n", n)),
    ("wfdb", "null signals", |_| {
        b"=== r.hea\nr 2 500 16000000\n~ 0 200 0 0 0 0 0 I\n~ 0 200 0 0 0 0 0 II\n".to_vec()
    }),
    ("wfdb", "samples of 8 bits", |n| signal_file("80", n)),
    ("wfdb", "samples of 10 bits", |n| signal_file("310", n)),
    ("wfdb_annotations", "annotations", |n| [1, 4].repeat(n / 2)),
    ("wfdb_annotations", "texts", |n| [&[1, 4, 2, 0xFC][..], b"ab"].concat().repeat(n / 6)),
    ("wfdb_annotations", "skips", |n| [0, 0xEC, 0, 0, 1, 0, 1, 4].repeat(n / 8)),
    ("scp", "tags", |n| scp_section(1, &[0, 1, 0, b'x'], n)),
    ("scp", "remarks", |n| scp_section(1, &[30, 2, 0, b'x', 0], n)),
    ("scp", "statements", |n| scp_section(8, &[1, 3, 0, b'x', b'y', 0], n)),
    ("scp_huffman", "one bit a sample", |n| [vec![0, 255], SCP_RHYTHM.to_vec(), vec![0; n]].concat()),
    ("aecg", "elements", |n| xml("<a/>", n)),
    ("aecg", "attributes", |n| format!("{AECG}<a{}/></AnnotatedECG>", numbered(" a#=''", n)).into_bytes()),
    ("aecg", "elements below long names", deep_names),
    ("aecg", "bindings, and elements", |n| bindings("<b/>", n)),
    ("aecg", "bindings, and prefixed attributes", |n| bindings("<b a0:c='d'/>", n)),
    ("aecg", "annotations", |n| xml("<component><annotation/></component>", n)),
    ("aecg", "series", |n| xml("<component><series/></component>", n)),
    ("aecg", "comments", |n| xml("<!---->", n)),
    ("aecg_digits", "digits", |n| b"1 ".repeat(n / 2)),
    ("json", "blanks", |n| vec![b' '; n]),
    ("json", "brackets", |n| vec![b'['; n]),
    ("json", "unknown members", |n| format!("{{{}}}", numbered("\"a#\":1,", n)).into_bytes()),
    ("json_model", "samples", |n| json_lead(&b"0,".repeat(n / 2))),
    ("json_model", "identifiers", |n| {
        let one = r#"{"value":"x"},"#;
        format!("{{\"subject\":{{\"identifiers\":[{}{{\"value\":\"x\"}}]}}}}", one.repeat(n / one.len()))
            .into_bytes()
    }),
    ("bagit_text", "manifest lines", |n| bag(&format!("{}  data/#\n", "0".repeat(128)), n)),
    ("bagit_text", "files", |n| [BAG.as_bytes(), numbered("\n=== data/#\nx", n).as_bytes()].concat()),
    ("bagit_text", "metadata", |n| {
        [BAG.as_bytes(), b"\n=== bag-info.txt\n", &b"A: b\n".repeat(n / 5)].concat()
    }),
    ("bagit_text", "folded metadata", |n| {
        [BAG.as_bytes(), b"\n=== bag-info.txt\nA: b\n", &b" c\n".repeat(n / 3)].concat()
    }),
    ("bagit_text", "fetch", |n| {
        [BAG.as_bytes(), b"\n=== fetch.txt\n", numbered("u - data/#\n", n).as_bytes()].concat()
    }),
    ("filing", "tables", |n| numbered("[a#]\n", n).into_bytes()),
    ("filing", "nested arrays", |n| [&b"a="[..], &vec![b'['; n]].concat()),
    ("foreign_zip", "directory entries", foreign),
    ("detect", "digits", |n| vec![b'1'; n]),
    ("round_trip", "samples", |n| signal_file("16", n / 16)),
    ("check_and_page", "samples", |n| signal_file("16", n)),
    ("check_and_page", "remarks", |n| wfdb_header("#<ecg-info>: 1\n", "#<acq.remark>: x\n", n)),
];

/// So many bytes of a text, `#` a running number.
fn numbered(text: &str, n: usize) -> String {
    let mut all = String::with_capacity(n + text.len());
    let mut number = 0;
    while all.len() < n {
        all.push_str(&text.replace('#', &number.to_string()));
        number += 1;
    }
    all
}

fn wfdb_header(first: &str, line: &str, n: usize) -> Vec<u8> {
    let mut text = format!("=== r.hea\nr 1 500 4\nr.dat 16 200 16 0 0 0 0 II\n{first}");
    text.push_str(&line.repeat(n / line.len()));
    text.push_str("\n=== r.dat\nabcdefgh");
    text.into_bytes()
}

fn signal_file(format: &str, n: usize) -> Vec<u8> {
    let mut head = "=== r.hea\nr 12 500\n".to_owned();
    (0..12).for_each(|lead| {
        let _ = writeln!(head, "r.dat {format} 200 16 0 0 0 0 L{lead}");
    });
    head.push_str("\n=== r.dat\n");
    let samples: Vec<u8> = (0..n).map(|i| u8::try_from(i * i % 251).unwrap_or(0) & 3).collect();
    [head.as_bytes(), &samples].concat()
}

fn master(line: &str, n: usize) -> Vec<u8> {
    let count = (n / line.len()).min(9_999);
    let mut text = format!("=== r.hea\nr/{} 1 500 {}\ns 1\n{}", count + 1, count + 1, line.repeat(count));
    text.push_str("\n=== s.hea\ns 1 500 1\ns.dat 16 200 16 0 0 0 0 II\n\n=== s.dat\nab");
    text.into_bytes()
}

/// Section 6 of one lead: a step of 1 uV, 2 ms, first differences, one lead of 65,535 bytes.
const SCP_RHYTHM: &[u8] = &[0xE8, 3, 0xD0, 7, 1, 0, 0xFF, 0xFF];

/// A record whose section of this number is one item repeated; checksums are zero.
fn scp_section(number: u16, item: &[u8], n: usize) -> Vec<u8> {
    let body = item.repeat(n / item.len());
    let mut rows = Vec::new();
    for row in 0..12_u16 {
        let (length, index) = match row {
            0 => (136_u32, 7_u32),
            row if row == number => (16 + length_of(&body), 143),
            _ => (0, 0),
        };
        rows.extend([&row.to_le_bytes()[..], &length.to_le_bytes(), &index.to_le_bytes()].concat());
    }
    let header = |number: u16, length: u32, rest: &[u8]| {
        [&[0, 0], &number.to_le_bytes()[..], &length.to_le_bytes(), &[20, 20], rest].concat()
    };
    let section = [header(number, 16 + length_of(&body), &[0; 6]), body].concat();
    let size = 142 + length_of(&section);
    [&[0, 0], &size.to_le_bytes()[..], &header(0, 136, b"SCPECG"), &rows, &section].concat()
}

fn length_of(bytes: &[u8]) -> u32 {
    u32::try_from(bytes.len()).unwrap_or(u32::MAX)
}

const AECG: &str = r#"<AnnotatedECG xmlns="urn:hl7-org:v3">"#;

fn xml(part: &str, n: usize) -> Vec<u8> {
    format!("{AECG}{}</AnnotatedECG>", part.repeat(n / part.len())).into_bytes()
}

/// Half the bytes are names of nested elements, half of them small elements within.
fn deep_names(n: usize) -> Vec<u8> {
    let name = "n".repeat(n / 64);
    let (open, close) = (format!("<{name}>").repeat(16), format!("</{name}>").repeat(16));
    format!("{AECG}{open}{}{close}</AnnotatedECG>", "<b c='d'/>".repeat(n / 20)).into_bytes()
}

/// Half the bytes bind prefixes on the root and on elements nested in it, sixty on each; half of them are small elements.
fn bindings(part: &str, n: usize) -> Vec<u8> {
    let bound = numbered(" xmlns:a#='u'", 780);
    let depth = (n / 2 / bound.len()).clamp(1, 100);
    let open = format!("{}{bound}>{}", AECG.trim_end_matches('>'), format!("<n{bound}>").repeat(depth));
    let small = part.repeat(n / 2 / part.len());
    format!("{open}{small}{}{small}</AnnotatedECG>", "</n>".repeat(depth)).into_bytes()
}

fn json_lead(samples: &[u8]) -> Vec<u8> {
    let before = br#"{"waveforms":[{"kind":"rhythm","start":"0","rate":"500","signals":[{"lead":"II","step":"1","samples":["#;
    [&before[..], samples, b"0]}]}]}"].concat()
}

const BAG: &str = "=== bagit.txt\nBagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n\n=== data/x\nx";

fn bag(line: &str, n: usize) -> Vec<u8> {
    format!("{BAG}\n=== manifest-sha512.txt\n{}", numbered(line, n)).into_bytes()
}

/// A ZIP of stored, empty members: local headers, then the directory (APPNOTE 4.3.7, 4.3.12, 4.3.16).
fn foreign(n: usize) -> Vec<u8> {
    let count = n / 92;
    let (mut local, mut directory) = (Vec::new(), Vec::new());
    for number in 0..count {
        let name = format!("{number:08}");
        let common = [&[0; 20][..], &8_u16.to_le_bytes(), &[0; 2]].concat();
        let offset = length_of(&local).to_le_bytes();
        directory
            .extend([b"PK\x01\x02\x14\0\x14\0", &common[..], &[0; 10], &offset, name.as_bytes()].concat());
        local.extend([b"PK\x03\x04\x14\0", &common[..], name.as_bytes()].concat());
    }
    let entries = u16::try_from(count).unwrap_or(u16::MAX).to_le_bytes();
    let sizes = [&directory, &local].map(|part| length_of(part).to_le_bytes());
    let end = [b"PK\x05\x06\0\0\0\0", &entries[..], &entries, &sizes[0], &sizes[1], &[0, 0]].concat();
    [local, directory, end].concat()
}

/// Nanoseconds that this thread has run (proc(5), schedstat).
fn ran() -> Option<u64> {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat").ok()?;
    text.split_whitespace().next()?.parse().ok()
}

/// A figure of this process in bytes.
fn figure(name: &str) -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find_map(|line| line.strip_prefix(name))?;
    line.trim_start_matches(':').trim().strip_suffix(" kB")?.trim().parse::<u64>().ok().map(|kilo| kilo << 10)
}

/// Nanoseconds and bytes of memory that a target takes.
fn cost(target: fn(&[u8]), data: &[u8]) -> Option<(u64, u64)> {
    std::fs::write("/proc/self/clear_refs", "5").ok()?;
    let (before, start) = (figure("VmRSS")?, ran()?);
    target(data);
    let (time, peak) = (ran()? - start, figure("VmHWM")?);
    Some((time, peak.saturating_sub(before)))
}

fn main() {
    println!(
        "{:<18}{:<28}{:>9}{:>12}{:>9}{:>14}",
        "reader", "input", "bytes", "ns a byte", "growth", "memory a byte"
    );
    for (name, what, make) in FAMILIES {
        let (small, large) = (make(SMALL), make(LARGE));
        // The first run warms up what is made once.
        target(name)(&small);
        let (Some((of_small, _)), Some((of_large, memory))) =
            (cost(target(name), &small), cost(target(name), &large))
        else {
            println!("skipped: this system does not tell the time and memory of a thread");
            return;
        };
        let each = |time: u64, data: &[u8]| time as f64 / data.len() as f64;
        let (ns, growth) = (each(of_large, &large), each(of_large, &large) / each(of_small, &small));
        let bytes = large.len();
        println!("{name:<18}{what:<28}{bytes:>9}{ns:>12.1}{growth:>9.2}{:>14.1}", each(memory, &large));
    }
}
