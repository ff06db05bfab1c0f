//! A web service that answers with the printable page of a recording, with nothing but the standard library.
//!
//!     cargo run -p ecgkeep-examples --bin page_in_a_response -- examples/larkmoor
//!
//! then open http://127.0.0.1:8087/lm01_faultless.hea. For one machine only: no encryption, no log-in.

use std::io::{BufRead as _, BufReader, Write as _};
use std::net::{TcpListener, TcpStream};
use std::path::{Path, PathBuf};

use ecgkeep::checks::{self, Policy};
use ecgkeep::format::{Kind, Limits, Result, plain_name};
use ecgkeep::recording::CivilTime;
use ecgkeep::report::{Paper, html, sheet};
use ecgkeep::{Input, page_facts};

fn main() -> std::result::Result<(), Box<dyn std::error::Error>> {
    let folder = std::env::args_os().nth(1).map(PathBuf::from).ok_or("give a folder")?;
    let now: CivilTime = "2026-03-02T18:00+01:00".parse()?;
    let listener = TcpListener::bind("127.0.0.1:8087")?;
    println!("http://{}/NAME-OF-A-RECORD", listener.local_addr()?);
    for stream in listener.incoming() {
        answer(&mut stream?, &folder, &now)?;
    }
    Ok(())
}

/// Reads one request and writes one response (RFC 9112).
fn answer(stream: &mut TcpStream, folder: &Path, now: &CivilTime) -> std::io::Result<()> {
    let mut lines = BufReader::new(&*stream).lines();
    let first = lines.next().transpose()?.unwrap_or_default();
    // The header lines say nothing that is needed, but are to be read, up to the empty one.
    for line in lines {
        if line?.is_empty() {
            break;
        }
    }
    let name = first.strip_prefix("GET /").and_then(|rest| rest.split(' ').next()).unwrap_or_default();
    let (status, kind, body) = match page(folder, name, now) {
        Ok(page) => ("200 OK", "text/html; charset=utf-8", page),
        Err(error) if error.kind() == Kind::Io => {
            ("404 Not Found", "text/plain; charset=utf-8", error.to_string())
        }
        Err(error) => ("422 Unprocessable Content", "text/plain; charset=utf-8", error.to_string()),
    };
    let length = body.len();
    write!(
        stream,
        "HTTP/1.1 {status}\r\nContent-Type: {kind}\r\nContent-Length: {length}\r\nConnection: close\r\n\r\n{body}"
    )
}

/// The page of one record of the folder as self-contained HTML, cautions and findings on it.
fn page(folder: &Path, name: &str, now: &CivilTime) -> Result<String> {
    // A name from outside: no path may be smuggled in with it.
    let opened = Input::at(&folder.join(plain_name(name)?))?.read(None, &Limits::default())?;
    opened.refuse_damage(false)?;
    let recording = opened.recording()?;
    let assessment = checks::run(recording, None, &Policy::default(), now);
    let facts = page_facts(&opened, recording, None, &Policy::default(), "page_in_a_response");
    Ok(html(&sheet(recording, &assessment, &facts, &Paper::default())))
}

#[cfg(test)]
mod tests {
    use std::io::Read as _;

    use super::*;

    fn ask(path: &str) -> String {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
        let mut asking =
            TcpStream::connect(listener.local_addr().expect("its address")).expect("a connection");
        write!(asking, "GET {path} HTTP/1.1\r\n\r\n").expect("sent");
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("larkmoor");
        let (mut stream, _) = listener.accept().expect("accepted");
        answer(&mut stream, &folder, &"2026-03-02T18:00+01:00".parse().expect("a time")).expect("answered");
        drop(stream);
        let mut response = String::new();
        asking.read_to_string(&mut response).expect("text");
        response
    }

    #[test]
    fn the_response_is_the_page_or_says_what_is_wrong() {
        let page = ask("/lm01_faultless.hea");
        assert!(page.starts_with("HTTP/1.1 200 OK\r\n") && page.ends_with("</html>\n"));
        assert!(ask("/none.hea").starts_with("HTTP/1.1 404 "));
        assert!(ask("/../lib.rs").starts_with("HTTP/1.1 422 "));
    }
}
