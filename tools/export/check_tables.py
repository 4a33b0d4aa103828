"""Reads the tables and the JSON of an export with other people's programs.

    check_tables.py EXPORT SCHEMA [SEMICOLON_EXPORT]
    check_tables.py --sheet SHEET.xlsx PUSHES.parquet
"""

import json
import pathlib
import sys
import zipfile
from xml.etree import ElementTree

import jsonschema
import pandas
import pyarrow.parquet


def same(a, b, what):
    """Two columns hold the same, gap for gap."""
    assert len(a) == len(b), what
    for x, y in zip(a, b):
        if pandas.isna(x) or pandas.isna(y):
            assert pandas.isna(x) and pandas.isna(y), (what, x, y)
        elif isinstance(x, float):
            assert abs(x - y) < 1e-9, (what, x, y)
        else:
            assert x == y, (what, x, y)


def tables(export, schema, semicolon):
    parquet = pyarrow.parquet.read_table(export / "pushes.parquet").to_pandas()
    comma = pandas.read_csv(export / "pushes.csv", dtype={"skater": str, "bib": str})
    assert list(parquet.columns) == list(comma.columns)
    numbers = [c for c in parquet.columns if parquet[c].dtype == float]
    for column in numbers:
        same(parquet[column].astype(float), comma[column].astype(float), column)
    print(f"pushes.parquet: {parquet.shape[0]} rows, {parquet.shape[1]} columns; "
          f"{len(numbers)} columns of numbers are the same in pushes.csv")
    assert (parquet["glide_knee_included_deg"] + parquet["glide_knee_flexion_deg"]).dropna().sub(180).abs().max() < 0.011
    passes = pandas.read_csv(export / "passes.csv")
    print(f"passes.csv: {passes.shape[0]} rows, {passes.shape[1]} columns")
    if semicolon:
        other = pandas.read_csv(semicolon / "pushes.csv", sep=";", decimal=",", dtype={"skater": str, "bib": str})
        for column in numbers:
            same(comma[column].astype(float), other[column].astype(float), column)
        print("the variant with semicolons reads the same")
    validator = jsonschema.Draft202012Validator(json.loads(schema.read_text()))
    for file in sorted(export.glob("session*.json")):
        faults = list(validator.iter_errors(json.loads(file.read_text())))
        assert not faults, faults[:3]
        print(f"{file.name}: keeps to the schema (Python jsonschema)")
    for file in sorted(export.glob("points/*.csv"))[:1]:
        points = pandas.read_csv(file, sep=None, engine="python", encoding="utf-8-sig")
        assert points["point"].nunique() == 33
        print(f"{file.name}: {len(points)} rows, 33 points")


def sheet(xlsx, parquet):
    """What a spreadsheet made of the CSV: numbers are numbers, texts texts."""
    space = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
    with zipfile.ZipFile(xlsx) as archive:
        strings = [
            "".join(t.text or "" for t in si.iter(space + "t"))
            for si in ElementTree.fromstring(archive.read("xl/sharedStrings.xml"))
        ]
        root = ElementTree.fromstring(archive.read("xl/worksheets/sheet1.xml"))
    assert not list(root.iter(space + "f")), "a cell became a formula"
    rows = [
        {
            "".join(ch for ch in c.get("r") if ch.isalpha()): (c.get("t", "n"), c.findtext(space + "v"))
            for c in row
        }
        for row in root.iter(space + "row")
    ]
    names = {column: strings[int(v)] for column, (_, v) in rows[0].items()}
    truth = pyarrow.parquet.read_table(parquet).to_pandas()
    assert list(names.values()) == list(truth.columns), "the columns are others"
    assert len(rows) - 1 == len(truth), (len(rows), len(truth))
    checked = 0
    for row, (_, wanted) in zip(rows[1:], truth.iterrows()):
        for column, name in names.items():
            kind, value = row.get(column, ("n", None))
            if isinstance(wanted[name], float) and not pandas.isna(wanted[name]):
                assert kind == "n" and abs(float(value) - wanted[name]) < 1e-9, (name, kind, value, wanted[name])
                checked += 1
            elif name == "skater" and isinstance(wanted[name], str):
                text = strings[int(value)]
                guarded = wanted[name][0] in "=+-@"
                assert text.lstrip("'").replace("\u202e", "") == wanted[name].replace("\u202e", "") or guarded, (text, wanted[name])
    print(f"{xlsx.name} as LibreOffice reads it: {len(rows) - 1} rows, {checked} numbers right, no formula")


if sys.argv[1] == "--sheet":
    sheet(pathlib.Path(sys.argv[2]), pathlib.Path(sys.argv[3]))
else:
    other = pathlib.Path(sys.argv[3]) if len(sys.argv) > 3 else None
    tables(pathlib.Path(sys.argv[1]), pathlib.Path(sys.argv[2]), other)
