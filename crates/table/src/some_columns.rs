//! Named columns of a Parquet file: a table of which only a few columns are wanted
//! is not read whole.

use std::fs::File;

use parquet::basic::Repetition;
use parquet::column::reader::{ColumnReader, ColumnReaderImpl};
use parquet::data_type::{ByteArray, DataType};
use parquet::errors::ParquetError;
use parquet::file::reader::{FileReader, RowGroupReader, SerializedFileReader};
use parquet::schema::types::ColumnDescriptor;

use super::parquet_file::{GROUP_ROWS, Notes, foreign, kind_of, notes_of};
use super::{Cell, Column, Table};

/// A file that is open; its notes and the names of its columns are read, its rows not.
pub struct PartFile {
    reader: SerializedFileReader<File>,
    /// The notes in the file's own metadata.
    pub notes: Notes,
}

impl PartFile {
    /// Reads the end of a file, where its metadata stands.
    ///
    /// # Errors
    /// What is no Parquet file, or not a whole one.
    pub fn open(file: File) -> Result<Self, ParquetError> {
        let reader = SerializedFileReader::new(file)?;
        let notes = notes_of(reader.metadata().file_metadata());
        Ok(PartFile { reader, notes })
    }

    /// The rows with these columns alone, in this order; a column that is not in the
    /// file is not in the table.
    ///
    /// # Errors
    /// A damaged file, or one of these columns is of a kind that this program does not
    /// write.
    pub fn read(&self, wanted: &[&str]) -> Result<Table, ParquetError> {
        let about = self.reader.metadata().file_metadata();
        let there = about.schema_descr().columns();
        let found: Vec<usize> = wanted
            .iter()
            .filter_map(|name| there.iter().position(|c| c.name() == *name))
            .collect();
        let mut columns = Vec::with_capacity(found.len());
        for &i in &found {
            columns.push(column_of(&there[i])?);
        }
        let mut rows: Vec<Vec<Cell>> = Vec::new();
        for group in 0..self.reader.num_row_groups() {
            let group = self.reader.get_row_group(group)?;
            let more = count(group.metadata().num_rows())?;
            let mut read = Vec::with_capacity(found.len());
            for &i in &found {
                read.push(cells_of(group.as_ref(), i, there[i].name(), more)?.into_iter());
            }
            // Only what was read takes room: a file may say any number of rows.
            rows.extend((0..more).map(|_| read.iter_mut().filter_map(Iterator::next).collect()));
        }
        Ok(Table { columns, rows })
    }
}

/// The rows of a group; a longer one is none of ours.
fn count(rows: i64) -> Result<usize, ParquetError> {
    let fits = usize::try_from(rows).ok().filter(|n| *n <= GROUP_ROWS);
    fits.ok_or_else(|| ParquetError::General(format!("it says that it has {rows} rows")))
}

fn column_of(column: &ColumnDescriptor) -> Result<Column, ParquetError> {
    let plain = column.max_rep_level() == 0
        && column.max_def_level() == 1
        && column.self_type().get_basic_info().repetition() == Repetition::OPTIONAL;
    let kind = kind_of(column).filter(|_| plain);
    Ok(Column {
        name: column.name().to_owned(),
        kind: kind.ok_or_else(|| foreign(column.name()))?,
    })
}

/// The cells of a column in one group of rows.
fn cells_of(
    group: &dyn RowGroupReader,
    column: usize,
    name: &str,
    rows: usize,
) -> Result<Vec<Cell>, ParquetError> {
    match group.get_column_reader(column)? {
        ColumnReader::ByteArrayColumnReader(reader) => read(reader, rows, |text: ByteArray| {
            let text = std::str::from_utf8(text.data());
            text.map(|t| Cell::Text(t.to_owned()))
                .map_err(|_| ParquetError::General(format!("the column '{name}' is no text")))
        }),
        ColumnReader::Int64ColumnReader(reader) => read(reader, rows, |n| Ok(Cell::Whole(n))),
        ColumnReader::DoubleColumnReader(reader) => read(reader, rows, |v: f64| Ok(Some(v).into())),
        ColumnReader::BoolColumnReader(reader) => read(reader, rows, |b| Ok(Cell::Flag(b))),
        _ => Err(foreign(name)),
    }
}

fn read<T: DataType>(
    mut reader: ColumnReaderImpl<T>,
    rows: usize,
    cell: impl Fn(T::T) -> Result<Cell, ParquetError>,
) -> Result<Vec<Cell>, ParquetError> {
    let short = || ParquetError::General("a column ends before its rows do".to_owned());
    let (mut values, mut levels) = (Vec::new(), Vec::new());
    while levels.len() < rows {
        let (records, _, _) =
            reader.read_records(rows - levels.len(), Some(&mut levels), None, &mut values)?;
        if records == 0 {
            return Err(short());
        }
    }
    let mut values = values.into_iter();
    levels
        .into_iter()
        .map(|level| match level {
            0 => Ok(Cell::Empty),
            _ => values.next().ok_or_else(short).and_then(&cell),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use std::io::Write;

    use super::*;
    use crate::{Kind, from_parquet, to_parquet_noting};

    fn file_of(bytes: &[u8]) -> File {
        let mut file = tempfile::tempfile().unwrap();
        file.write_all(bytes).unwrap();
        file
    }

    fn table(rows: i64) -> Table {
        let column = |name: &str, kind| Column {
            name: name.to_owned(),
            kind,
        };
        let row = |i: i64| {
            let gap = i % 3 == 0;
            vec![
                Cell::Text(format!("row {i} é")),
                if gap { Cell::Empty } else { Cell::Whole(i) },
                if gap {
                    Cell::Empty
                } else {
                    Cell::Number(i as f64 / 4.0)
                },
                Cell::Flag(i % 2 == 0),
            ]
        };
        Table {
            columns: vec![
                column("t", Kind::Text),
                column("n", Kind::Whole),
                column("x_deg", Kind::Number(2)),
                column("b", Kind::Flag),
            ],
            rows: (0..rows).map(row).collect(),
        }
    }

    /// More rows than one group holds; held against the reader of whole rows.
    #[test]
    fn named_columns_are_those_of_the_whole_table_in_the_order_asked_for() {
        let whole = table(20_007);
        let notes = vec![("kickplate.a".to_owned(), "1".to_owned())];
        let bytes = to_parquet_noting(&whole, &notes).unwrap();
        let part = PartFile::open(file_of(&bytes)).unwrap();
        assert_eq!(part.notes, notes);
        let some = part.read(&["b", "not there", "x_deg", "t", "n"]).unwrap();
        let names: Vec<&str> = some.columns.iter().map(|c| c.name.as_str()).collect();
        assert_eq!(names, ["b", "x_deg", "t", "n"]);
        let (all, _) = from_parquet(bytes).unwrap();
        assert_eq!(some.rows.len(), all.rows.len());
        for (some, all) in some.rows.iter().zip(&all.rows) {
            let wanted = [3, 2, 0, 1].map(|i: usize| all[i].clone());
            assert_eq!(some[..], wanted);
        }
    }

    #[test]
    fn a_file_that_is_cut_off_or_is_none_is_an_error_at_every_length() {
        let bytes = to_parquet_noting(&table(40), &[]).unwrap();
        for n in 0..bytes.len() {
            assert!(PartFile::open(file_of(&bytes[..n])).is_err(), "{n} bytes");
        }
    }

    #[test]
    fn a_file_with_other_bytes_in_it_never_panics() {
        let bytes = to_parquet_noting(&table(40), &[]).unwrap();
        for i in (0..bytes.len()).step_by(3) {
            let mut other = bytes.clone();
            other[i] ^= 0x5a;
            // An error or some table: both are answers.
            let _ = PartFile::open(file_of(&other)).and_then(|p| p.read(&["t", "n", "x_deg", "b"]));
        }
    }
}
