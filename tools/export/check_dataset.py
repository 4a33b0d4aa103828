#!/usr/bin/env python3
"""Asks DuckDB and Polars real questions of a dataset and compares their answers.

    check_dataset.py DATASET

DATASET is what `kickplate export --dataset` wrote. Needs what `requirements.txt` beside this
file names (PyPI). Ends with 1 where the two disagree, where a part has
another schema than the rest, or where a flag stands beside a value that is not judged.
"""

import pathlib
import sys

import duckdb
import polars

KNEE = "glide_knee_included"


def main(folder):
    table = {}
    frame = {}
    for name in ("passes", "pushes"):
        parts = str(folder / name / "**" / "*.parquet")
        table[name] = f"read_parquet('{parts}', hive_partitioning = true)"
        frame[name] = polars.read_parquet(parts, hive_partitioning=True)
        [(rows,)] = duckdb.sql(f"SELECT count(*) FROM {table[name]}").fetchall()
        assert rows == frame[name].height > 0, (name, rows, frame[name].height)
        columns = duckdb.sql(f"SELECT * FROM {table[name]} LIMIT 0").columns
        assert sorted(columns) == sorted(frame[name].columns), name
        print(f"{name}: {rows} rows, {len(columns)} columns, "
              f"{frame[name]['date'].n_unique()} dates, {frame[name]['season'].n_unique()} seasons")

    pushes = frame["pushes"]
    ask = lambda query: duckdb.sql(query.replace("$pushes", table["pushes"]).replace("$passes", table["passes"])).fetchall()

    # Progress of each group over the season.
    sql = ask(f"""SELECT age_group, CAST(date AS VARCHAR), count(*), avg({KNEE}_deg) FROM $pushes
                  WHERE {KNEE}_judged GROUP BY ALL ORDER BY ALL""")
    other = (pushes.filter(polars.col(f"{KNEE}_judged")).group_by("age_group", polars.col("date").cast(polars.String))
             .agg(polars.len().alias("n"), polars.col(f"{KNEE}_deg").mean()).sort("age_group", "date").rows())
    compare("knee bend by group and date", sql, other)

    # Share judged by view.
    sql = ask(f"SELECT view, avg({KNEE}_judged::INT) FROM $pushes GROUP BY ALL ORDER BY ALL")
    other = pushes.group_by("view").agg(polars.col(f"{KNEE}_judged").mean()).sort("view").rows()
    compare("share judged by view", sql, other)

    # How often the coach agreed with the flags of each rule.
    rules = [c.removesuffix("_verdict") for c in pushes.columns if c.endswith("_verdict")]
    for rule in rules:
        sql = ask(f"""SELECT {rule}_verdict, count(*) FROM $pushes
                      WHERE {rule}_verdict IS NOT NULL GROUP BY ALL ORDER BY ALL""")
        other = (pushes.filter(polars.col(f"{rule}_verdict").is_not_null()).group_by(f"{rule}_verdict")
                 .agg(polars.len()).sort(f"{rule}_verdict").rows())
        compare(f"verdicts of {rule}", sql, other)
        assert pushes.filter(polars.col(f"{rule}_flagged") & ~polars.col(f"{rule}_judged")).height == 0, rule

    # Each push has its pass, and is of the same skater.
    (lost,) = ask("""SELECT count(*) FROM $pushes u ANTI JOIN $passes p
                     ON p.session = u.session AND p.pass = u.pass
                     AND p.skater_key IS NOT DISTINCT FROM u.skater_key""")[0]
    assert lost == 0, lost
    print("every push has its pass, of the same skater")


def compare(what, one, other):
    assert len(one) == len(other), (what, one, other)
    for a, b in zip(one, other):
        for x, y in zip(a, b):
            same = abs(x - y) < 1e-9 if isinstance(x, float) else x == y
            assert same, (what, a, b)
    print(f"{what}: DuckDB and Polars say the same ({len(one)} rows): {one[:3]}")


if __name__ == "__main__":
    main(pathlib.Path(sys.argv[1]))
