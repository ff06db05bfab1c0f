//! The text of an element, blanks around it trimmed.

use std::borrow::Cow;

/// Whether XML takes a character for a blank (XML 1.0, 2.3).
pub(crate) fn is_blank(c: char) -> bool {
    matches!(c, ' ' | '\t' | '\n' | '\r')
}

/// The text of one element as it grows; blanks around it are layout unless a reference or CDATA says otherwise.
#[derive(Default)]
pub(crate) struct Text<'a> {
    text: Cow<'a, str>,
    /// Bytes from the start that must not be trimmed.
    kept: usize,
}

impl<'a> Text<'a> {
    pub(crate) fn is_empty(&self) -> bool {
        self.text.is_empty()
    }

    pub(crate) fn len(&self) -> usize {
        self.text.len()
    }

    /// The next part; `verbatim` for a reference or CDATA.
    pub(crate) fn push(&mut self, part: Cow<'a, str>, verbatim: bool) {
        // XML 1.0, 2.11: a line ends with one line feed
        let mut part = match part {
            Cow::Borrowed(text) if !text.contains('\r') || (verbatim && text.len() == 1) => {
                Cow::Borrowed(text)
            }
            Cow::Owned(text) if text == "\r" => Cow::Owned(text),
            text => Cow::Owned(text.replace("\r\n", "\n").replace('\r', "\n")),
        };
        if self.text.is_empty() {
            if !verbatim {
                part = match part {
                    Cow::Borrowed(text) => Cow::Borrowed(text.trim_start_matches(is_blank)),
                    Cow::Owned(text) => Cow::Owned(text.trim_start_matches(is_blank).to_owned()),
                };
            }
            self.text = part;
        } else {
            self.text.to_mut().push_str(&part);
        }
        if verbatim {
            self.kept = self.text.len();
        }
    }

    /// The text is over.
    pub(crate) fn finish(self) -> Cow<'a, str> {
        let kept = self.kept;
        let end = |text: &str| kept + text[kept..].trim_end_matches(is_blank).len();
        match self.text {
            Cow::Borrowed(text) => Cow::Borrowed(&text[..end(text)]),
            Cow::Owned(mut text) => {
                text.truncate(end(&text));
                Cow::Owned(text)
            }
        }
    }
}
