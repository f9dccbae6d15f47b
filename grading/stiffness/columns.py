"""The file of taps."""

import pandas as pd

from portal.calc.file_spec import Column, FileKind, Known, Problem


def _check(rows: pd.DataFrame, known: Known, file: str) -> list[Problem]:
    """A mass and a density together: only one of them can be what counts."""
    both = rows["mass_kg"].notna() & rows["density_kg_m3"].notna()
    return [
        Problem(file, int(row), "density_kg_m3", f"{given:g} beside a mass", "a mass or a density, not both")
        for row, given in zip(rows.loc[both, "_row"], rows.loc[both, "density_kg_m3"], strict=True)
    ]


STIFFNESS = FileKind(
    name="stiffness",
    title="Stiffness (taps)",
    help="One row per tap on a board: what it rang at, with its mass or density and its moisture.",
    columns=(
        Column("board", "code", required=True, refers_to="boards", help="board tapped", example="1646683858"),
        Column(
            "resonance_hz",
            "number",
            required=True,
            unit="Hz",
            minimum=20,
            maximum=20_000,
            help="frequency of the mode named by harmonic",
            example="742",
        ),
        Column("read_on", "date", help="day of the tap", example="2026-04-21"),
        Column(
            "harmonic",
            "integer",
            minimum=1,
            maximum=20,
            help="which longitudinal mode rang; empty: the first",
            example="1",
        ),
        Column(
            "second_hz",
            "number",
            unit="Hz",
            minimum=20,
            maximum=40_000,
            help="frequency of twice that mode, to check it by",
            example="1481",
        ),
        Column(
            "length_m",
            "number",
            unit="m",
            minimum=0.05,
            maximum=13,
            help="length when tapped; empty: the board’s own",
            example="3.012",
        ),
        Column(
            "mass_kg",
            "number",
            unit="kg",
            minimum=0.01,
            maximum=500,
            help="mass when tapped, from which the density follows",
            example="8.42",
        ),
        Column(
            "density_kg_m3",
            "number",
            unit="kg/m³",
            minimum=150,
            maximum=1_400,
            help="density when tapped, where the mass is not given",
            example="",
        ),
        Column(
            "mc_pct",
            "number",
            unit="%",
            minimum=0,
            maximum=300,
            help="moisture content when tapped",
            example="13.5",
        ),
        Column("note", "text", maximum=400, help="anything else", example="end shake at the top"),
    ),
    key=("board", "read_on", "harmonic"),
    check=_check,
)
