//! From the bytes of a file to text, and which character parts its cells.

use encoding_rs::{UTF_8, WINDOWS_1252};

/// How the characters of a file are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Encoding {
    /// UTF-8, with or without a mark at its beginning.
    Utf8,
    /// UTF-16 with a mark at its beginning, as spreadsheets write it.
    Utf16,
    /// Windows-1252: taken where the bytes are nothing else. Accents may be
    /// wrong where the file is in yet another one.
    Windows1252,
}

/// The text of a file without the mark at its beginning; the sentence says
/// why there is none.
pub(super) fn decode(bytes: &[u8]) -> Result<(String, Encoding), String> {
    // As the WHATWG Encoding Standard says.
    let (set, mark) = encoding_rs::Encoding::for_bom(bytes).unwrap_or((UTF_8, 0));
    let (text, damaged) = set.decode_without_bom_handling(&bytes[mark..]);
    if set != UTF_8 {
        return match damaged || text.contains('\0') {
            true => Err("the file is cut off or damaged (UTF-16); save it again as UTF-8".into()),
            false => Ok((text.into_owned(), Encoding::Utf16)),
        };
    }
    if text.contains('\0') {
        return Err("this is not a text file; save it as CSV in UTF-8".to_owned());
    }
    if !damaged {
        return Ok((text.into_owned(), Encoding::Utf8));
    }
    let (text, _) = WINDOWS_1252.decode_without_bom_handling(&bytes[mark..]);
    Ok((text.into_owned(), Encoding::Windows1252))
}

/// The text after a first line `sep=;`, as some spreadsheets write it, how
/// many lines that took, and the character that parts the cells.
pub(super) fn separator(text: &str) -> (&str, u64, char) {
    if let Some(rest) = text.strip_prefix("sep=")
        && let Some(separator @ (',' | ';' | '\t')) = rest.chars().next()
        && let Some((line, rest)) = rest.split_once('\n')
        && line.trim_end().chars().count() <= 1
    {
        return (rest, 1, separator);
    }
    let first = text
        .lines()
        .find(|l| !l.trim().is_empty())
        .unwrap_or_default();
    let mut counts = [(';', 0), ('\t', 0), (',', 0)];
    let mut quoted = false;
    for c in first.chars() {
        quoted ^= c == '"';
        if let Some((_, n)) = counts.iter_mut().find(|(s, _)| *s == c && !quoted) {
            *n += 1;
        }
    }
    // Where all are equal, the last: a comma.
    let most = counts.into_iter().max_by_key(|(_, n)| *n);
    (text, 0, most.map_or(',', |(s, _)| s))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_text_in_every_encoding() {
        // 'é', the euro sign and a letter of two UTF-16 units.
        let text = "Zoé €";
        let le: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
        let be: Vec<u8> = text.encode_utf16().flat_map(u16::to_be_bytes).collect();
        let marked = |mark: &[u8], rest: &[u8]| [mark, rest].concat();
        for (bytes, encoding) in [
            (text.as_bytes().to_vec(), Encoding::Utf8),
            (marked(b"\xEF\xBB\xBF", text.as_bytes()), Encoding::Utf8),
            (marked(b"\xFF\xFE", &le), Encoding::Utf16),
            (marked(b"\xFE\xFF", &be), Encoding::Utf16),
            (b"Zo\xE9 \x80".to_vec(), Encoding::Windows1252),
        ] {
            assert_eq!(decode(&bytes), Ok((text.to_owned(), encoding)));
        }
    }

    #[test]
    fn what_is_no_text_is_refused() {
        for bytes in [
            b"PK\x03\x04\0\0".as_slice(),
            b"\xFF\xFEa",
            b"\xFF\xFE\x00\xD8",
            b"n\0a\0m\0e\0",
        ] {
            assert!(decode(bytes).is_err(), "{bytes:?}");
        }
    }

    #[test]
    fn the_separator_is_the_one_used_most_outside_of_quotes() {
        assert_eq!(separator("name;bib\n1,5;2").2, ';');
        assert_eq!(separator("name,bib;x,y\n").2, ',');
        assert_eq!(separator("\"a;b;c\",d\n").2, ',');
        assert_eq!(separator("\n\nname\tbib\n").2, '\t');
        assert_eq!(separator("name\n").2, ',');
        assert_eq!(separator("sep=;\r\nname\n"), ("name\n", 1, ';'));
        assert_eq!(separator("").2, ',');
    }
}
