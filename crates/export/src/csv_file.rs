//! A table as CSV after RFC 4180.
//!
//! Comma and decimal point, or semicolon and decimal comma, as spreadsheets
//! of the two halves of the world expect it. UTF-8 with a byte order mark:
//! without it spreadsheets take the letters for those of an older code.

use super::table::{Cell, Column, Kind, Table};

/// What stands between two cells, and with it the decimal mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Separator {
    /// `,` and a decimal point.
    #[default]
    Comma,
    /// `;` and a decimal comma.
    Semicolon,
}

/// The table as the bytes of a file; `Err` carries the writer's own words.
pub fn to_csv(table: &Table, separator: Separator) -> Result<Vec<u8>, String> {
    let mut writer = csv::WriterBuilder::new()
        .delimiter(match separator {
            Separator::Comma => b',',
            Separator::Semicolon => b';',
        })
        .terminator(csv::Terminator::CRLF)
        .from_writer("\u{feff}".as_bytes().to_vec());
    writer
        .write_record(table.columns.iter().map(|c| c.name.as_str()))
        .map_err(|e| e.to_string())?;
    let mut texts = Vec::with_capacity(table.columns.len());
    for row in &table.rows {
        texts.clear();
        texts.extend(
            table
                .columns
                .iter()
                .zip(row)
                .map(|(column, cell)| text(column, cell, separator)),
        );
        writer.write_record(&texts).map_err(|e| e.to_string())?;
    }
    writer.into_inner().map_err(|e| e.to_string())
}

fn text(column: &Column, cell: &Cell, separator: Separator) -> String {
    match cell {
        Cell::Empty => String::new(),
        Cell::Whole(n) => n.to_string(),
        Cell::Flag(b) => b.to_string(),
        Cell::Text(text) => harmless(text),
        Cell::Number(value) => {
            let places = match column.kind {
                Kind::Number(places) => places,
                _ => 4,
            };
            let text = decimal(*value, places);
            match separator {
                Separator::Comma => text,
                Separator::Semicolon => text.replace('.', ","),
            }
        }
    }
}

/// A number without zeros at its end and without a minus zero.
pub fn decimal(value: f64, places: usize) -> String {
    let mut text = format!("{value:.places$}");
    if text.contains('.') {
        text.truncate(text.trim_end_matches('0').trim_end_matches('.').len());
    }
    if text == "-0" { "0".to_owned() } else { text }
}

/// A text a spreadsheet takes for a formula gets an apostrophe in front, which
/// makes it text (OWASP, 'CSV Injection': cells beginning with =, +, -, @,
/// tab, carriage return or line feed, and their full-width forms). Other
/// control characters are left out: no program needs them.
fn harmless(text: &str) -> String {
    let clean: String = text
        .chars()
        .filter(|c| !c.is_control() || matches!(c, '\n' | '\r' | '\t'))
        .collect();
    match clean.chars().next() {
        Some('=' | '+' | '-' | '@' | '\t' | '\r' | '\n' | '＝' | '＋' | '－' | '＠') => {
            format!("'{clean}")
        }
        _ => clean,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table() -> Table {
        let column = |name: &str, kind| Column {
            name: name.to_owned(),
            kind,
        };
        Table {
            columns: vec![
                column("name", Kind::Text),
                column("x_m", Kind::Number(3)),
                column("n", Kind::Whole),
                column("yes", Kind::Flag),
            ],
            rows: vec![
                vec![
                    Cell::Text("Anna, \"Bee\"; C".to_owned()),
                    Cell::Number(-1.5),
                    Cell::Whole(-3),
                    Cell::Flag(true),
                ],
                vec![
                    Cell::Text("=HYPERLINK(\"x\")".to_owned()),
                    Cell::Number(0.0001),
                    Cell::Empty,
                    Cell::Flag(false),
                ],
                vec![
                    Cell::Text("two\r\nlines".to_owned()),
                    Cell::Empty,
                    Cell::Whole(0),
                    Cell::Empty,
                ],
            ],
        }
    }

    /// RFC 4180, section 2: lines end with CRLF, cells with separators,
    /// quotes or line breaks stand in quotes, quotes are doubled.
    #[test]
    fn cells_are_quoted_as_the_standard_says() {
        let csv = String::from_utf8(to_csv(&table(), Separator::Comma).unwrap()).unwrap();
        let wanted = "\u{feff}name,x_m,n,yes\r\n\
            \"Anna, \"\"Bee\"\"; C\",-1.5,-3,true\r\n\
            \"'=HYPERLINK(\"\"x\"\")\",0,,false\r\n\
            \"two\r\nlines\",,0,\r\n";
        assert_eq!(csv, wanted);
        let csv = String::from_utf8(to_csv(&table(), Separator::Semicolon).unwrap()).unwrap();
        assert!(csv.contains("\";-1,5;-3;true\r\n"), "{csv}");
    }

    #[test]
    fn texts_are_never_formulas_and_numbers_stay_numbers() {
        for (text, wanted) in [
            ("=1+1", "'=1+1"),
            ("+33 6", "'+33 6"),
            ("-good", "'-good"),
            ("@SUM(A1)", "'@SUM(A1)"),
            ("\t=1", "'\t=1"),
            ("\0=1", "'=1"),
            ("＝1", "'＝1"),
            ("a=1", "a=1"),
            ("", ""),
        ] {
            assert_eq!(harmless(text), wanted);
        }
        assert_eq!(decimal(-12.0, 2), "-12");
        assert_eq!(decimal(-0.001, 2), "0");
        assert_eq!(decimal(10.0, 0), "10");
        assert_eq!(decimal(101.50, 2), "101.5");
    }
}
