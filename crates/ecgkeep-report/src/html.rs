//! Writing a sheet as one HTML file: the same pages, and below them the same in words.

use std::fmt::Write;

use crate::svg::{escape, write_page};
use crate::{Passage, Sheet};

/// All pages of a sheet as one self-contained HTML file in UTF-8 that prints true to scale, one page to the sheet of
/// paper, without margins of its own; below the pages, on the screen only, all that they say as text. No script, no
/// reference outside; a policy in the file keeps browsers from running or fetching anything.
#[must_use]
pub fn html(sheet: &Sheet) -> String {
    let mut out = String::with_capacity(256 * 1024 * sheet.pages.len());
    let (width, height) = (sheet.width, sheet.height);
    let _ = write!(
        out,
        "<!doctype html>\n<html lang=\"{}\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">\n\
         <title>{}</title>\n<style>\n\
         @page {{ size: {width}mm {height}mm; margin: 0 }}\n\
         body {{ margin: 0; background: #d9dcdc; color: #121416; font: 1rem/1.5 Arial, Helvetica, sans-serif }}\n\
         .page {{ width: {width}mm; height: {height}mm; margin: 4mm auto; background: #fff }}\n\
         .page svg {{ display: block }}\n\
         .words {{ max-width: 45rem; margin: 2rem auto; padding: 1rem 2rem; background: #fff; overflow-wrap: anywhere }}\n\
         .words h2 {{ font-size: 1.1rem; margin: 1.5rem 0 .25rem }}\n\
         .words p {{ margin: .25rem 0 }}\n\
         @media print {{ body {{ background: #fff }} .page {{ margin: 0; break-after: page }} \
         .page:last-of-type {{ break-after: auto }} .words {{ display: none }} }}\n\
         </style>\n</head>\n<body>\n<main>\n",
        sheet.language,
        escape(&sheet.title),
    );
    for (index, page) in sheet.pages.iter().enumerate() {
        let number = index + 1;
        let _ =
            writeln!(out, "<div class=\"page\" role=\"img\" aria-label=\"{}\">", escape(&page.description));
        write_page(&mut out, sheet, page, &format!("page-{number}-"));
        out.push_str("</div>\n");
    }
    write_words(&mut out, sheet);
    out.push_str("</main>\n</body>\n</html>\n");
    out
}

/// The text alternative: what the pages say, under headings.
fn write_words(out: &mut String, sheet: &Sheet) {
    let _ = writeln!(out, "<section class=\"words\">\n<h1>{}</h1>", escape(&sheet.title));
    for Passage { heading, entries } in &sheet.words {
        let _ = writeln!(out, "<h2>{}</h2>", escape(heading));
        for entry in entries {
            out.push_str("<p>");
            if !entry.label.is_empty() {
                let _ = write!(out, "<strong>{}</strong> ", escape(&entry.label));
            }
            let _ = writeln!(out, "{}</p>", escape(&entry.text));
        }
    }
    out.push_str("</section>\n");
}
