//! A table as Apache Parquet, for data tools.

use std::sync::Arc;

use parquet::basic::{LogicalType, Repetition, Type as Physical};
use parquet::data_type::{BoolType, ByteArray, ByteArrayType, DataType, DoubleType, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::metadata::{FileMetaData, KeyValue};
use parquet::file::properties::WriterProperties;
use parquet::file::reader::{FileReader, SerializedFileReader};
use parquet::file::writer::{SerializedFileWriter, SerializedRowGroupWriter};
use parquet::record::Field;
use parquet::schema::types::{ColumnDescriptor, Type};

use super::{Cell, Column, Kind, Table};

/// Keys and values in the metadata of a file.
pub type Notes = Vec<(String, String)>;

/// Rows in one group: what a reader takes into memory at once.
pub(super) const GROUP_ROWS: usize = 20_000;

/// Decimals of a number that is written as it was read.
const AS_IT_IS: usize = usize::MAX;

/// A file of [`to_parquet_noting`], read back with its notes.
///
/// # Errors
/// What is no Parquet file, or has columns of kinds that this program does not write.
pub fn from_parquet(bytes: Vec<u8>) -> Result<(Table, Notes), ParquetError> {
    let reader = SerializedFileReader::new(bytes::Bytes::from(bytes))?;
    let about = reader.metadata().file_metadata();
    let notes = notes_of(about);
    let columns = about
        .schema_descr()
        .columns()
        .iter()
        .map(|column| {
            Ok(Column {
                name: column.name().to_owned(),
                kind: kind_of(column).ok_or_else(|| foreign(column.name()))?,
            })
        })
        .collect::<Result<Vec<_>, ParquetError>>()?;
    let mut rows = Vec::new();
    for row in reader.get_row_iter(None)? {
        let row = row?;
        let cells = row.get_column_iter().map(|(name, field)| {
            Ok(match field {
                Field::Null => Cell::Empty,
                Field::Str(text) => Cell::Text(text.clone()),
                Field::Long(n) => Cell::Whole(*n),
                Field::Double(v) => Cell::Number(*v),
                Field::Bool(b) => Cell::Flag(*b),
                _ => return Err(foreign(name)),
            })
        });
        rows.push(cells.collect::<Result<Vec<_>, ParquetError>>()?);
    }
    Ok((Table { columns, rows }, notes))
}

/// The notes in a file's own key-value metadata.
pub(super) fn notes_of(about: &FileMetaData) -> Notes {
    let notes = about.key_value_metadata().into_iter().flatten();
    notes
        .map(|note| (note.key.clone(), note.value.clone().unwrap_or_default()))
        .collect()
}

/// What a column of a file holds, where this program writes such columns.
pub(super) fn kind_of(column: &ColumnDescriptor) -> Option<Kind> {
    match (column.physical_type(), column.logical_type_ref()) {
        (Physical::BYTE_ARRAY, Some(LogicalType::String)) => Some(Kind::Text),
        (Physical::INT64, None) => Some(Kind::Whole),
        (Physical::DOUBLE, None) => Some(Kind::Number(AS_IT_IS)),
        (Physical::BOOLEAN, None) => Some(Kind::Flag),
        _ => None,
    }
}

pub(super) fn foreign(column: &str) -> ParquetError {
    ParquetError::General(format!(
        "the column '{column}' is of a kind that is not written here"
    ))
}

/// The table as the bytes of a file. Every column may be null; numbers are
/// doubles, whole numbers 64-bit, texts UTF-8.
pub fn to_parquet(table: &Table) -> Result<Vec<u8>, ParquetError> {
    to_parquet_noting(table, &[])
}

/// The same with notes in the file's own key-value metadata.
pub fn to_parquet_noting(
    table: &Table,
    notes: &[(String, String)],
) -> Result<Vec<u8>, ParquetError> {
    let fields = table
        .columns
        .iter()
        .map(|c| schema_of(c).map(Arc::new))
        .collect::<Result<Vec<_>, _>>()?;
    let schema = Type::group_type_builder("pushes")
        .with_fields(fields)
        .build()?;
    let properties = WriterProperties::builder()
        .set_created_by(concat!("kickplate ", env!("CARGO_PKG_VERSION")).to_owned())
        .set_key_value_metadata((!notes.is_empty()).then(|| {
            let note = |(key, value): &(String, String)| KeyValue::new(key.clone(), value.clone());
            notes.iter().map(note).collect()
        }))
        .build();
    let mut bytes = Vec::new();
    let mut writer = SerializedFileWriter::new(&mut bytes, Arc::new(schema), Arc::new(properties))?;
    for rows in table.rows.chunks(GROUP_ROWS) {
        let mut group = writer.next_row_group()?;
        for (i, column) in table.columns.iter().enumerate() {
            write_column(&mut group, column, rows, i)?;
        }
        group.close()?;
    }
    writer.close()?;
    Ok(bytes)
}

fn schema_of(column: &Column) -> Result<Type, ParquetError> {
    let physical = match column.kind {
        Kind::Text => Physical::BYTE_ARRAY,
        Kind::Whole => Physical::INT64,
        Kind::Number(_) => Physical::DOUBLE,
        Kind::Flag => Physical::BOOLEAN,
    };
    Type::primitive_type_builder(&column.name, physical)
        .with_repetition(Repetition::OPTIONAL)
        .with_logical_type((column.kind == Kind::Text).then_some(LogicalType::String))
        .build()
}

fn write_column<W: std::io::Write + Send>(
    group: &mut SerializedRowGroupWriter<'_, W>,
    column: &Column,
    rows: &[Vec<Cell>],
    i: usize,
) -> Result<(), ParquetError> {
    let cells = || rows.iter().map(|row| row.get(i).unwrap_or(&Cell::Empty));
    match column.kind {
        Kind::Text => put::<ByteArrayType, _>(group, cells(), |cell| match cell {
            Cell::Text(text) => Some(ByteArray::from(text.as_str())),
            _ => None,
        }),
        Kind::Whole => put::<Int64Type, _>(group, cells(), |cell| match cell {
            Cell::Whole(n) => Some(*n),
            _ => None,
        }),
        Kind::Number(places) => {
            // As in the other tables: no more decimals than were measured.
            let scale = 10f64.powi(i32::try_from(places).unwrap_or(4));
            put::<DoubleType, _>(group, cells(), |cell| match cell {
                Cell::Number(v) if places == AS_IT_IS => Some(*v),
                Cell::Number(v) => Some((v * scale).round() / scale + 0.0),
                _ => None,
            })
        }
        Kind::Flag => put::<BoolType, _>(group, cells(), |cell| match cell {
            Cell::Flag(b) => Some(*b),
            _ => None,
        }),
    }
}

fn put<'a, T: DataType, W: std::io::Write + Send>(
    group: &mut SerializedRowGroupWriter<'_, W>,
    cells: impl Iterator<Item = &'a Cell>,
    value_of: impl Fn(&Cell) -> Option<T::T>,
) -> Result<(), ParquetError> {
    let (mut values, mut levels) = (Vec::new(), Vec::new());
    for cell in cells {
        let value = value_of(cell);
        levels.push(i16::from(value.is_some()));
        values.extend(value);
    }
    let missing = || ParquetError::General("a column of the table is missing".to_owned());
    let mut writer = group.next_column()?.ok_or_else(missing)?;
    writer
        .typed::<T>()
        .write_batch(&values, Some(&levels), None)?;
    writer.close()
}

#[cfg(test)]
mod tests {
    use super::*;
    /// Read back with the crate's own reader; `tools/export/check.sh` reads
    /// an export's file with Apache Arrow's C++ reader.
    #[test]
    fn what_was_written_is_read_back_with_its_types_and_gaps() {
        let column = |name: &str, kind| Column {
            name: name.to_owned(),
            kind,
        };
        let table = Table {
            columns: vec![
                column("t", Kind::Text),
                column("n", Kind::Whole),
                column("x_deg", Kind::Number(2)),
                column("b", Kind::Flag),
            ],
            rows: vec![
                vec![
                    Cell::Text("Zoë 🏒".to_owned()),
                    Cell::Whole(-3),
                    Cell::Number(101.456),
                    Cell::Flag(true),
                ],
                vec![Cell::Empty, Cell::Empty, Cell::Empty, Cell::Empty],
            ],
        };
        let bytes = to_parquet(&table).unwrap();
        let reader = SerializedFileReader::new(bytes::Bytes::from(bytes)).unwrap();
        let rows: Vec<Vec<Field>> = reader
            .get_row_iter(None)
            .unwrap()
            .map(|row| {
                let row = row.unwrap();
                row.get_column_iter().map(|(_, f)| f.clone()).collect()
            })
            .collect();
        assert_eq!(
            rows[0],
            [
                Field::Str("Zoë 🏒".to_owned()),
                Field::Long(-3),
                Field::Double(101.46),
                Field::Bool(true)
            ]
        );
        assert!(rows[1].iter().all(|f| *f == Field::Null));
    }

    #[test]
    fn a_file_that_is_read_and_written_again_says_the_same() {
        let column = |name: &str, kind| Column {
            name: name.to_owned(),
            kind,
        };
        let table = Table {
            columns: vec![
                column("t", Kind::Text),
                column("n", Kind::Whole),
                column("x_deg", Kind::Number(2)),
                column("b", Kind::Flag),
            ],
            rows: vec![
                vec![
                    Cell::Text("Zoë".to_owned()),
                    Cell::Whole(i64::MIN),
                    Cell::Number(0.07),
                    Cell::Flag(false),
                ],
                vec![Cell::Empty, Cell::Empty, Cell::Empty, Cell::Empty],
            ],
        };
        let notes = vec![("kickplate.a".to_owned(), "1".to_owned())];
        let bytes = to_parquet_noting(&table, &notes).unwrap();
        let (read, read_notes) = from_parquet(bytes.clone()).unwrap();
        assert_eq!((&read.rows, &read_notes), (&table.rows, &notes));
        assert_eq!(to_parquet_noting(&read, &read_notes).unwrap(), bytes);
        assert!(from_parquet(b"PAR1 of somebody else PAR1".to_vec()).is_err());
    }
}
