#!/usr/bin/env python3
"""What DuckDB and Polars say of the dataset of a made-up club:

    cargo run --example club_dataset -- FOLDER
    make_club_golden.py FOLDER/dataset tests/golden/club.json

Each figure of `kickplate club-report` is asked of both; they have to say the same. Needs
what `requirements.txt` beside this file names (PyPI). `tests/pure/club_report.rs` holds
the program against the file.
"""

import json
import pathlib
import sys

import duckdb
import polars
from polars import col

RULES = ["glide_knee_included_deg", "extension_included_deg", "heel_gap_m", "hand_cross_m",
         "trunk_lean_deg", "toe_out_deg"]
QUANTITIES = ["stride_rate_hz", "step_length_m", "push_width_m", "push_length_m", "body_line_deg",
              "arm_leg_timing_s", "left_right_heel_gap_m", "left_right_hand_cross_m",
              "left_right_toe_out_deg"]


def stem(column):
    return column.rsplit("_", 1)[0]


def most_at_one_station():
    """As many as the station with most different keys has."""
    key = polars.struct("station", "skater_key").filter(col("skater_key").is_not_null()).unique()
    return key.struct.field("station").value_counts().struct.field("count").max().fill_null(0).alias("most")


def same(what, one, other):
    one, other = sorted(map(list, one)), sorted(map(list, other))
    assert len(one) == len(other) > 0, (what, len(one), len(other))
    for a, b in zip(one, other):
        for x, y in zip(a, b):
            assert abs(x - y) < 1e-9 if isinstance(x, float) else x == y, (what, a, b)
    print(f"{what}: DuckDB and Polars say the same ({len(one)} rows)")
    return one


def main(folder, out):
    read = {}
    for name in ("passes", "pushes"):
        parts = str(folder / name / "**" / "*.parquet")
        duckdb.sql(f"CREATE VIEW all_{name} AS SELECT * FROM read_parquet('{parts}', hive_partitioning = true, hive_types_autocast = false)")
        read[name] = polars.read_parquet(parts, hive_partitioning=True, try_parse_hive_dates=False)
    duckdb.sql("CREATE VIEW passes AS SELECT * FROM all_passes WHERE subject = 'people'")
    duckdb.sql("""CREATE VIEW pushes AS SELECT u.* FROM all_pushes u
                  SEMI JOIN passes p ON p.session = u.session AND p.pass = u.pass""")
    ask = lambda query: duckdb.sql(query).fetchall()
    passes = read["passes"].filter(col("subject") == "people")
    pushes = read["pushes"].join(passes, on=["session", "pass"], how="semi")

    told = {"duckdb": duckdb.__version__, "polars": polars.__version__}
    told["pushes"] = pushes.height
    told["rendered_passes"] = read["passes"].filter(col("subject") == "rendered").height

    told["months"] = same("months", ask("""
        SELECT date[:7], station, count(DISTINCT session), count(*), count(DISTINCT skater_key),
               count(*) FILTER (skater_key IS NULL) FROM passes GROUP BY ALL"""),
        passes.group_by(col("date").str.slice(0, 7), "station").agg(
            col("session").n_unique(), polars.len(), col("skater_key").drop_nulls().n_unique(),
            col("skater_key").is_null().sum().alias("of_nobody")).rows())

    told["progress"] = []
    for table, frame, columns in (("pushes", pushes, RULES), ("passes", passes, QUANTITIES)):
        for column in columns:
            # Skaters: of the station where most were, since each station has keys of its own.
            one = ask(f"""WITH here AS (FROM {table} WHERE {stem(column)}_judged),
                          who AS (SELECT age_group, date, station, count(DISTINCT skater_key) AS n FROM here GROUP BY ALL),
                          most AS (SELECT age_group, date, max(n) AS most FROM who GROUP BY ALL)
                          SELECT age_group, '{column}', date, count({column}), any_value(most),
                          quantile_cont({column}, 0.25), quantile_cont({column}, 0.5), quantile_cont({column}, 0.75)
                          FROM here JOIN most USING (age_group, date) GROUP BY ALL""")
            quartile = lambda q: col(column).quantile(q, interpolation="linear").alias(str(q))
            other = (frame.filter(col(f"{stem(column)}_judged")).group_by("age_group", "date")
                     .agg(col(column).count(), most_at_one_station(),
                          quartile(0.25), quartile(0.5), quartile(0.75)).rows())
            if one or other:
                told["progress"] += same(column, one, [(g, column, *rest) for g, *rest in other])

    told["rules"], told["seen"], told["reasons"] = [], [], []
    for column in RULES:
        judged, flagged, verdict = (f"{stem(column)}_{what}" for what in ("judged", "flagged", "verdict"))
        one = ask(f"""SELECT '{column}', count(*), count(*) FILTER ({flagged}),
                      count(*) FILTER ({flagged} AND {verdict} = 'confirmed'),
                      count(*) FILTER ({flagged} AND {verdict} = 'dismissed'),
                      (SELECT max(n) FROM (SELECT station, count(DISTINCT skater_key) AS n
                                           FROM pushes WHERE {judged} GROUP BY ALL))
                      FROM pushes WHERE {judged}""")
        said = lambda word: (col(flagged) & (col(verdict) == word)).sum().alias(word)
        other = pushes.filter(col(judged)).select(
            polars.lit(column).alias("column"), polars.len(), col(flagged).sum(), said("confirmed"),
            said("dismissed"), most_at_one_station()).rows()
        told["rules"] += same(f"flags of {column}", one, other)
        one = ask(f"SELECT station, view, '{column}', count(*), count(*) FILTER ({judged}) FROM pushes GROUP BY ALL")
        other = pushes.group_by("station", "view", polars.lit(column).alias("column")).agg(
            polars.len(), col(judged).sum()).rows()
        told["seen"] += same(f"share judged of {column}", one, other)
        reason = f"{stem(column)}_reason"
        one = ask(f"SELECT view, '{column}', {reason}, count(*) FROM pushes WHERE NOT {judged} GROUP BY ALL")
        other = pushes.filter(~col(judged)).group_by("view", polars.lit(column).alias("column"), reason).agg(
            polars.len()).rows()
        told["reasons"] += same(f"why not of {column}", one, other)

    lines = ",\n".join(f'"{key}": {json.dumps(value, separators=(",", ":"))}' for key, value in told.items())
    out.write_text("{" + lines.replace("],[", "],\n[") + "}\n")


if __name__ == "__main__":
    main(pathlib.Path(sys.argv[1]), pathlib.Path(sys.argv[2]))
