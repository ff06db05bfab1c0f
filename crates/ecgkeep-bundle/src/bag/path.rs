//! Paths in manifests and in `fetch.txt` (RFC 8493, 2.1.3, 2.2.1, 2.2.3, 5).

use unicode_normalization::UnicodeNormalization as _;

use ecgkeep_format::plain_name;

use super::PAYLOAD;

/// What a path in a tag file stands for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct ListedPath {
    /// The path, decoded, without a leading `./`.
    pub(crate) path: String,
    /// Whether `./` stood before it.
    pub(crate) had_dot: bool,
}

/// A path as it stands in a tag file, decoded; `None` where it leaves the bag, or its part of the bag.
pub(crate) fn listed(text: &str, is_payload: bool) -> Option<ListedPath> {
    let decoded = decode(text);
    let path = decoded.strip_prefix("./").unwrap_or(&decoded);
    let is_within = !path.starts_with('~')
        && path.split('/').all(|component| !matches!(component, "" | "." | ".."))
        && path.split(['/', '\\']).all(|component| component != "..")
        && path.starts_with(PAYLOAD) == is_payload
        && !starts_elsewhere(path);
    is_within.then(|| ListedPath { path: path.to_owned(), had_dot: path.len() != decoded.len() })
}

/// A drive, a share or a variable of another operating system (RFC 8493, 5).
fn starts_elsewhere(path: &str) -> bool {
    let first = path.split(['/', '\\']).next().unwrap_or_default();
    path.starts_with('\\') || first.contains(':') || (first.starts_with('%') && first.ends_with('%'))
}

/// Decodes `%0A`, `%0D` and `%25`, and nothing else (RFC 8493, 2.1.3).
pub(crate) fn decode(text: &str) -> String {
    let mut decoded = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(at) = rest.find('%') {
        decoded.push_str(&rest[..at]);
        let code = rest.get(at + 1..at + 3).map(str::to_ascii_uppercase);
        let (character, length) = match code.as_deref() {
            Some("0A") => ('\n', 3),
            Some("0D") => ('\r', 3),
            Some("25") => ('%', 3),
            _ => ('%', 1),
        };
        decoded.push(character);
        rest = &rest[at + length..];
    }
    decoded.push_str(rest);
    decoded
}

/// What two names have in common when a file system takes them for one: normalised (NFC) (RFC 8493, 6).
pub(crate) fn normalised(path: &str) -> String {
    path.nfc().collect()
}

/// What two names have in common when a file system does not tell upper from lower case.
pub(crate) fn folded(path: &str) -> String {
    path.nfc().flat_map(char::to_lowercase).collect()
}

/// Why another system may refuse this name or change it (RFC 8493, 6).
pub(crate) fn hazard(path: &str) -> Option<&'static str> {
    path.split('/').find_map(|component| {
        if component.contains(['<', '>', ':', '"', '|', '?', '*', '\\'])
            || component.contains(char::is_control)
        {
            Some("a character that other systems do not allow in a name")
        } else if component.ends_with(['.', ' ']) {
            Some("a name that ends with a dot or a space")
        } else if plain_name(component).is_err() {
            Some("a name that another system reserves for a device")
        } else if matches!(component.to_ascii_lowercase().as_str(), ".ds_store" | "thumbs.db" | "desktop.ini")
        {
            Some("a file that a desktop leaves behind and removes at will")
        } else {
            None
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_line_ends_and_the_percent_sign_are_encoded() {
        assert_eq!(decode("data/a%0Ab%0dc%25d%2e%7E%"), "data/a\nb\rc%d%2e%7E%");
        assert_eq!(decode("%2525%é"), "%25%é");
    }

    #[test]
    fn a_path_stays_in_its_part_of_the_bag() {
        for path in ["data/a", "./data/a", "data/a b/c", "data/%7Ea", "data/..a", "data/~"] {
            assert!(listed(path, true).is_some(), "{path}");
            assert!(listed(path, false).is_none(), "{path}");
        }
        for path in [
            "/data/a",
            "data",
            "data/",
            "data//a",
            "data/../a",
            "data/./a",
            "../data/a",
            "~/data/a",
            "~root/x",
            "C:\\x",
            "C:/x",
            "\\\\?\\UNC\\x",
            "%HomeDrive%\\x",
            "data/..\\..\\x",
            "",
            "././data/a",
        ] {
            assert!(listed(path, true).is_none(), "{path}");
            assert!(listed(path, false).is_none() || path == "data", "{path}");
        }
        assert_eq!(listed("./bag-info.txt", false).unwrap().path, "bag-info.txt");
    }

    #[test]
    fn hazards_are_named() {
        for path in
            ["data/a:b", "data/aux", "data/x.", "data/x ", "data/Thumbs.db", "data/a\\b", "data/com1.txt"]
        {
            assert!(hazard(path).is_some(), "{path}");
        }
        assert_eq!(hazard("data/ä b~c%.txt"), None);
    }
}
