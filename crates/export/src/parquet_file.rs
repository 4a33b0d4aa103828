//! A table as Apache Parquet, for data tools.

use std::sync::Arc;

use parquet::basic::{LogicalType, Repetition, Type as Physical};
use parquet::data_type::{BoolType, ByteArray, ByteArrayType, DataType, DoubleType, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::{SerializedFileWriter, SerializedRowGroupWriter};
use parquet::schema::types::Type;

use super::table::{Cell, Column, Kind, Table};

/// Rows in one group: what a reader takes into memory at once.
const GROUP_ROWS: usize = 20_000;

/// The table as the bytes of a file. Every column may be null; numbers are
/// doubles, whole numbers 64-bit, texts UTF-8.
pub fn to_parquet(table: &Table) -> Result<Vec<u8>, ParquetError> {
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
    use parquet::file::reader::{FileReader, SerializedFileReader};
    use parquet::record::Field;

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
}
