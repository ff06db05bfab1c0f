//! Documents that mean harm, and damage of every kind: an error with a place, never a panic, never much memory.

use ecgkeep_aecg::AECG;
use ecgkeep_format::{Error, File, Format, Kind, Limits, Memory, Read};

fn read(document: impl Into<Vec<u8>>) -> Result<Read, Error> {
    read_within(document, &Limits::default())
}

fn read_within(document: impl Into<Vec<u8>>, limits: &Limits) -> Result<Read, Error> {
    AECG.read(&Memory::new("r.xml", vec![File { name: "r.xml".into(), bytes: document.into() }]), limits)
}

fn plain() -> String {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../fixtures/aecg/good/two-readers.xml");
    std::fs::read_to_string(path).expect("the fixture is here")
}

fn refused(document: impl Into<Vec<u8>>, kind: Kind) -> String {
    let error = read(document).expect_err("is refused");
    assert_eq!(error.kind(), kind, "{error}");
    error.to_string()
}

#[test]
fn entities_are_never_expanded_or_fetched() {
    let mut bomb = String::from("<!DOCTYPE AnnotatedECG [<!ENTITY a0 \"ha\">");
    for level in 1..20 {
        bomb.push_str(&format!("<!ENTITY a{level} \"&a{0};&a{0};\">", level - 1));
    }
    bomb.push_str("]><AnnotatedECG xmlns=\"urn:hl7-org:v3\"><text>&a19;</text></AnnotatedECG>");
    assert!(refused(bomb, Kind::Unsupported).contains("DOCTYPE"));
    let external = "<!DOCTYPE AnnotatedECG SYSTEM \"http://example.invalid/x.dtd\"><AnnotatedECG/>";
    refused(external, Kind::Unsupported);
    refused("<AnnotatedECG><text>&x;</text></AnnotatedECG>", Kind::Malformed);
    refused("<AnnotatedECG><id root='&x;'/></AnnotatedECG>", Kind::Malformed);
}

#[test]
fn deep_nesting_is_refused() {
    let deep = |count: usize| {
        format!("<AnnotatedECG>{}{}</AnnotatedECG>", "<a>".repeat(count), "</a>".repeat(count))
    };
    assert!(refused(deep(20_000), Kind::Limit).contains("deep"));
    refused(deep(120), Kind::Malformed);
    refused(format!("<AnnotatedECG>{}", "<a>".repeat(1_000_000)), Kind::Limit);
}

#[test]
fn countless_elements_attributes_and_bindings_are_refused() {
    refused(format!("<AnnotatedECG>{}</AnnotatedECG>", "<a/>".repeat(2_000_000)), Kind::Limit);
    let attributes: String = (0..10_000).map(|number| format!(" a{number}=''")).collect();
    refused(format!("<AnnotatedECG{attributes}/>"), Kind::Limit);
    // at every element all bindings of those around it are looked through
    let bindings: String = (0..40).map(|number| format!(" xmlns:a{number}='u'")).collect();
    refused(format!("<AnnotatedECG{bindings}><a{bindings}/></AnnotatedECG>"), Kind::Limit);
    refused(format!("<AnnotatedECG xmlns='{}'/>", "u".repeat(2000)), Kind::Limit);
}

#[test]
fn a_long_text_anywhere_is_refused_by_its_limit() {
    let limits = Limits { text_bytes: 1000, samples: 1000, ..Limits::default() };
    let long = "x".repeat(2000);
    for document in [
        plain().replace("Vennel", &long),
        plain().replace("LM-2071", &long),
        plain().replace("<text/>", "").replace("Sinus rhythm", &long),
        plain().replace("80 65 -10 12", &"7 ".repeat(2000)),
        plain().replace("80 65 -10 12", &"7".repeat(2000)),
    ] {
        let error = read_within(document, &limits).expect_err("is refused");
        assert!(matches!(error.kind(), Kind::Limit | Kind::Malformed), "{error}");
        assert!(error.to_string().len() < 500, "the error repeats the text");
    }
}

#[test]
fn a_document_cut_anywhere_is_an_error_with_a_place() {
    let document = plain();
    assert!(read(document.as_bytes()).is_ok());
    for end in 0..document.trim_end().len() {
        let error = read(&document.as_bytes()[..end]).expect_err("is cut");
        assert_eq!(error.place().file.as_deref(), Some("r.xml"), "cut at {end}: {error}");
        assert!(matches!(error.kind(), Kind::Truncated | Kind::Malformed), "cut at {end}: {error:?}");
    }
}

#[test]
fn a_document_with_any_byte_changed_never_panics() {
    let document = plain().into_bytes();
    let mut accepted = 0;
    for at in 0..document.len() {
        for byte in [document[at] ^ 0x01, document[at] ^ 0x20, b'<', b'&', b'"', 0, 0xFF] {
            let mut changed = document.clone();
            changed[at] = byte;
            match read(changed) {
                Ok(_) => accepted += 1,
                Err(error) => assert!(error.place().file.is_some(), "byte {at} as {byte}: {error:?}"),
            }
        }
    }
    assert!(accepted > 0);
}

#[test]
fn changed_and_accepted_documents_can_be_written_and_read_again() {
    let document = plain().into_bytes();
    for at in (0..document.len()).step_by(3) {
        let mut changed = document.clone();
        changed[at] ^= 0x02;
        let Ok(read) = read(changed) else { continue };
        let recording = read.one().expect("one recording").0;
        let written = ecgkeep_format::write(&AECG, &[recording], "r", &Default::default());
        if let Err(error) = written {
            assert_eq!(error.kind(), Kind::Refused, "byte {at}: {error}");
        }
    }
}

#[test]
fn what_is_no_xml_is_refused() {
    for bytes in [
        "",
        " ",
        "x",
        "<",
        "<!",
        "<?xml",
        "<AnnotatedECG",
        "</AnnotatedECG>",
        "<a></b>",
        "\u{FEFF}",
        "<AnnotatedECG/>x",
    ] {
        assert!(read(bytes).is_err(), "{bytes:?}");
    }
    assert!(read(vec![0u8; 64]).is_err());
    assert!(read([0xFF, 0xFE, b'<']).is_err());
}
