//! A table of plain values, and the same as a Parquet file.
//!
//! Takes: columns with a kind each, rows of cells.
//! Gives: the bytes of a file, and a table back from them, or named columns of it.
//! Fails: [`ParquetError`]; a file of somebody else is one.
//!
//! A crate of its own, because the writers that are made from the library's
//! generic code compile for minutes, and nothing here knows what is measured.

mod parquet_file;
mod some_columns;

pub use parquet::errors::ParquetError;
pub use parquet_file::{Notes, from_parquet, to_parquet, to_parquet_noting};
pub use some_columns::PartFile;

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Text.
    Text,
    /// A whole number.
    Whole,
    /// A number with so many decimals.
    Number(usize),
    /// True or false.
    Flag,
}

/// One column.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Column {
    /// Its name, ending with the unit.
    pub name: String,
    /// What it holds.
    pub kind: Kind,
}

/// One cell; nothing where nothing is known.
#[derive(Debug, Clone, PartialEq)]
pub enum Cell {
    /// Not known.
    Empty,
    /// Text.
    Text(String),
    /// A whole number.
    Whole(i64),
    /// A finite number.
    Number(f64),
    /// True or false.
    Flag(bool),
}

/// A whole table; every row has as many cells as there are columns.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    /// The columns.
    pub columns: Vec<Column>,
    /// The rows.
    pub rows: Vec<Vec<Cell>>,
}

impl From<Option<f64>> for Cell {
    fn from(value: Option<f64>) -> Self {
        value
            .filter(|v| v.is_finite())
            .map_or(Cell::Empty, Cell::Number)
    }
}

impl From<f64> for Cell {
    fn from(value: f64) -> Self {
        Some(value).into()
    }
}

impl From<&str> for Cell {
    fn from(text: &str) -> Self {
        if text.is_empty() {
            Cell::Empty
        } else {
            Cell::Text(text.to_owned())
        }
    }
}
