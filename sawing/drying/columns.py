"""The file of moisture readings; pure, so that commands can read it without a database."""

import pandas as pd

from portal.calc.file_findings import remark
from portal.calc.file_spec import Column, FileKind, Known, Problem
from sawing.calc.moisture import FSP_PCT, LEAST_MC_PCT, METER_LOW_PCT, MOST_MC_PCT, sample_concerns

LONGEST_WORDS = 120


def check_moisture(rows: pd.DataFrame, known: Known, file: str) -> list[Problem]:
    """Oven-dry samples whose masses and moisture content do not belong together, or with one mass alone."""
    problems = []
    weighed = rows[rows[["wet_mass_g", "dry_mass_g"]].notna().any(axis=1)]
    for row in weighed.to_dict("records"):
        number, wet, dry = int(row["_row"]), row["wet_mass_g"], row["dry_mass_g"]
        if row["method"] != "oven_dry":
            found = row["method"] or "empty, which is meter"
            problems.append(Problem(file, number, "method", found, "oven_dry where masses are given"))
        elif pd.isna(wet) or pd.isna(dry):
            column = "dry_mass_g" if pd.isna(dry) else "wet_mass_g"
            problems.append(Problem(file, number, column, "", "both masses, or none of them"))
        else:
            for concern in sample_concerns(wet, dry, row["mc_pct"])[:1]:
                problems.append(Problem(file, number, "mc_pct", f"{row['mc_pct']:g}", concern))
    return problems


def moisture_remarks(rows: pd.DataFrame, known: Known, file: str) -> list[str]:
    """Meter readings from fibre saturation up, which are stored as that and not as a number, and very low ones."""
    meter = rows["method"].fillna("meter") == "meter"
    above, low = meter & (rows["mc_pct"] >= FSP_PCT), meter & (rows["mc_pct"] < METER_LOW_PCT)
    return [
        *remark(rows, above, f"meter at {FSP_PCT:g} % or more, stored as “> FSP” without a number"),
        *remark(rows, low, f"meter below {METER_LOW_PCT:g} %, where it says little"),
    ]


MOISTURE = FileKind(
    name="moisture",
    title="Moisture readings",
    help=(
        "One row per reading: a meter on a board, or an oven-dry sample cut from it. A meter is corrected to 20 °C "
        "where the temperature of the wood is given."
    ),
    columns=(
        Column(
            "board",
            "code",
            required=True,
            refers_to="boards",
            help="board it was read on",
            example="1646683858",
        ),
        Column("read_on", "date", required=True, help="day of reading", example="2025-03-14"),
        Column(
            "mc_pct",
            "number",
            required=True,
            unit="%",
            minimum=LEAST_MC_PCT,
            maximum=MOST_MC_PCT,
            help="what the meter showed, or moisture content on the oven-dry mass",
            example="21.5",
        ),
        Column(
            "method",
            "choice",
            choices=("meter", "oven_dry"),
            help="how it was found; empty is meter",
            example="meter",
        ),
        Column(
            "temperature_c",
            "number",
            unit="°C",
            minimum=-30,
            maximum=100,
            help="temperature of the wood",
            example="9",
        ),
        Column(
            "sample",
            "code",
            help="which place or sample, where a board has several on one day",
            example="butt",
        ),
        Column(
            "wet_mass_g",
            "number",
            unit="g",
            above=0,
            maximum=100_000,
            help="sample before drying",
            example="",
        ),
        Column(
            "dry_mass_g", "number", unit="g", above=0, maximum=100_000, help="sample oven dry", example=""
        ),
        Column("instrument", "text", maximum=LONGEST_WORDS, help="which meter", example="pin meter 2"),
        Column(
            "species_setting", "text", maximum=LONGEST_WORDS, help="its setting for species", example="larch"
        ),
    ),
    key=("board", "read_on", "method", "sample"),
    check=check_moisture,
    remarks=moisture_remarks,
)
