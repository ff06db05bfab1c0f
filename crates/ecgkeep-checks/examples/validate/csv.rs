//! Comma-separated values with quoted fields (RFC 4180).

use std::collections::BTreeMap;

/// Each row after the first, by the names of the first.
pub fn rows(text: &str) -> Vec<BTreeMap<String, String>> {
    let mut table = fields(text).into_iter();
    let names = table.next().unwrap_or_default();
    table.map(|row| names.iter().cloned().zip(row).collect()).collect()
}

fn fields(text: &str) -> Vec<Vec<String>> {
    let (mut table, mut row, mut field, mut quoted) = (Vec::new(), Vec::new(), String::new(), false);
    let mut characters = text.chars().peekable();
    while let Some(character) = characters.next() {
        match character {
            '"' if quoted && characters.peek() == Some(&'"') => {
                characters.next();
                field.push('"');
            }
            '"' => quoted = !quoted,
            ',' if !quoted => row.push(std::mem::take(&mut field)),
            '\n' if !quoted => {
                row.push(std::mem::take(&mut field));
                table.push(std::mem::take(&mut row));
            }
            '\r' if !quoted => {}
            other => field.push(other),
        }
    }
    if !field.is_empty() || !row.is_empty() {
        row.push(field);
        table.push(row);
    }
    table
}
