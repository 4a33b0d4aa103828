//! From the bytes of a file to text, and which character parts its cells.

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

/// What the bytes 0x80 to 0x9F are in Windows-1252; the others are their own
/// code points. Five are not assigned. Source: the mapping of the WHATWG
/// Encoding Standard, index windows-1252.
const WINDOWS_1252: [char; 32] = [
    '\u{20AC}', '\u{81}', '\u{201A}', '\u{192}', '\u{201E}', '\u{2026}', '\u{2020}', '\u{2021}',
    '\u{2C6}', '\u{2030}', '\u{160}', '\u{2039}', '\u{152}', '\u{8D}', '\u{17D}', '\u{8F}',
    '\u{90}', '\u{2018}', '\u{2019}', '\u{201C}', '\u{201D}', '\u{2022}', '\u{2013}', '\u{2014}',
    '\u{2DC}', '\u{2122}', '\u{161}', '\u{203A}', '\u{153}', '\u{9D}', '\u{17E}', '\u{178}',
];

/// The text of a file without the mark at its beginning; the sentence says
/// why there is none.
pub(super) fn decode(bytes: &[u8]) -> Result<(String, Encoding), String> {
    if let Some(rest) = bytes.strip_prefix(b"\xFF\xFE") {
        return utf16(rest, u16::from_le_bytes);
    }
    if let Some(rest) = bytes.strip_prefix(b"\xFE\xFF") {
        return utf16(rest, u16::from_be_bytes);
    }
    let plain = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes);
    if plain.contains(&0) {
        return Err("this is not a text file; save it as CSV in UTF-8".to_owned());
    }
    match std::str::from_utf8(plain) {
        Ok(text) => Ok((text.to_owned(), Encoding::Utf8)),
        Err(_) => Ok((
            plain
                .iter()
                .map(|&b| match b {
                    0x80..=0x9F => WINDOWS_1252[usize::from(b - 0x80)],
                    _ => char::from(b),
                })
                .collect(),
            Encoding::Windows1252,
        )),
    }
}

fn utf16(bytes: &[u8], read: fn([u8; 2]) -> u16) -> Result<(String, Encoding), String> {
    let (pairs, rest) = bytes.as_chunks::<2>();
    let text: Result<String, _> = char::decode_utf16(pairs.iter().map(|p| read(*p))).collect();
    match text {
        Ok(text) if rest.is_empty() && !text.contains('\0') => Ok((text, Encoding::Utf16)),
        _ => Err("the file is cut off or damaged (UTF-16); save it again as UTF-8".to_owned()),
    }
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
