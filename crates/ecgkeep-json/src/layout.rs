//! How the text is laid out: two blanks per level, one member per line, an array of numbers on one line.

use std::io::{Result, Write};

use serde_json::ser::Formatter;

const BLANKS: &[u8] = b"  ";

/// Indented text in which a person finds a member, and a sample array does not take thousands of lines.
#[derive(Default)]
pub struct OneLinePerNumbers {
    depth: usize,
    /// Something stands in the innermost array or object already.
    filled: bool,
    /// The value that comes next is an element of an array: the first one or a further one.
    element: Option<Element>,
    /// The last element was a number.
    on_one_line: bool,
}

#[derive(Clone, Copy)]
enum Element {
    First,
    Further,
}

impl OneLinePerNumbers {
    fn open<W: ?Sized + Write>(&mut self, writer: &mut W, bracket: &[u8]) -> Result<()> {
        self.line_for_element(writer)?;
        self.depth += 1;
        self.filled = false;
        writer.write_all(bracket)
    }

    fn close<W: ?Sized + Write>(&mut self, writer: &mut W, bracket: &[u8]) -> Result<()> {
        self.depth -= 1;
        if self.filled && !self.on_one_line {
            self.new_line(writer)?;
        }
        self.filled = true;
        self.on_one_line = false;
        writer.write_all(bracket)
    }

    fn new_line<W: ?Sized + Write>(&self, writer: &mut W) -> Result<()> {
        writer.write_all(b"\n")?;
        (0..self.depth).try_for_each(|_| writer.write_all(BLANKS))
    }

    /// What stands before an element that is no number.
    fn line_for_element<W: ?Sized + Write>(&mut self, writer: &mut W) -> Result<()> {
        self.on_one_line = false;
        match self.element.take() {
            None => Ok(()),
            Some(Element::First) => self.new_line(writer),
            Some(Element::Further) => {
                writer.write_all(b",")?;
                self.new_line(writer)
            }
        }
    }

    fn number<W: ?Sized + Write>(&mut self, writer: &mut W, digits: &str) -> Result<()> {
        if let Some(element) = self.element.take() {
            self.on_one_line = true;
            if matches!(element, Element::Further) {
                writer.write_all(b",")?;
            }
        } else {
            self.on_one_line = false;
        }
        writer.write_all(digits.as_bytes())
    }
}

macro_rules! numbers {
    ($($method:ident: $kind:ty,)+) => {$(
        fn $method<W: ?Sized + Write>(&mut self, writer: &mut W, value: $kind) -> Result<()> {
            self.number(writer, itoa::Buffer::new().format(value))
        }
    )+};
}

impl Formatter for OneLinePerNumbers {
    numbers! {
        write_u8: u8,
        write_u32: u32,
        write_i32: i32,
        write_u64: u64,
        write_i64: i64,
    }

    fn write_bool<W: ?Sized + Write>(&mut self, writer: &mut W, value: bool) -> Result<()> {
        self.line_for_element(writer)?;
        writer.write_all(if value { b"true" } else { b"false" })
    }

    fn write_null<W: ?Sized + Write>(&mut self, writer: &mut W) -> Result<()> {
        self.line_for_element(writer)?;
        writer.write_all(b"null")
    }

    fn begin_string<W: ?Sized + Write>(&mut self, writer: &mut W) -> Result<()> {
        self.line_for_element(writer)?;
        writer.write_all(b"\"")
    }

    fn begin_array<W: ?Sized + Write>(&mut self, writer: &mut W) -> Result<()> {
        self.open(writer, b"[")
    }

    fn end_array<W: ?Sized + Write>(&mut self, writer: &mut W) -> Result<()> {
        self.close(writer, b"]")
    }

    fn begin_array_value<W: ?Sized + Write>(&mut self, _writer: &mut W, first: bool) -> Result<()> {
        self.element = Some(if first { Element::First } else { Element::Further });
        Ok(())
    }

    fn end_array_value<W: ?Sized + Write>(&mut self, _writer: &mut W) -> Result<()> {
        self.filled = true;
        Ok(())
    }

    fn begin_object<W: ?Sized + Write>(&mut self, writer: &mut W) -> Result<()> {
        self.open(writer, b"{")
    }

    fn end_object<W: ?Sized + Write>(&mut self, writer: &mut W) -> Result<()> {
        self.on_one_line = false;
        self.close(writer, b"}")
    }

    fn begin_object_key<W: ?Sized + Write>(&mut self, writer: &mut W, first: bool) -> Result<()> {
        if !first {
            writer.write_all(b",")?;
        }
        self.new_line(writer)
    }

    fn begin_object_value<W: ?Sized + Write>(&mut self, writer: &mut W) -> Result<()> {
        writer.write_all(b": ")
    }

    fn end_object_value<W: ?Sized + Write>(&mut self, _writer: &mut W) -> Result<()> {
        self.filled = true;
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use serde::Serialize as _;

    use super::*;

    #[test]
    fn numbers_share_a_line_and_everything_else_has_its_own() {
        let value = serde_json::json!({
            "a": [1, -2, 3], "b": ["x", "y"], "c": [], "d": {}, "e": [[], [1], {"f": 1}], "g": 7, "h": [true, null],
        });
        let mut bytes = Vec::new();
        value
            .serialize(&mut serde_json::Serializer::with_formatter(&mut bytes, OneLinePerNumbers::default()))
            .unwrap();
        let expected = "{\n  \"a\": [1,-2,3],\n  \"b\": [\n    \"x\",\n    \"y\"\n  ],\n  \"c\": [],\n  \"d\": {},\n  \
            \"e\": [\n    [],\n    [1],\n    {\n      \"f\": 1\n    }\n  ],\n  \"g\": 7,\n  \"h\": [\n    true,\n    null\n  ]\n}";
        let text = String::from_utf8(bytes).unwrap();
        assert_eq!(text, expected);
        assert_eq!(serde_json::from_str::<serde_json::Value>(&text).unwrap(), value);
    }
}
