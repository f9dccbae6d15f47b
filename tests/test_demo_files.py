"""The demo files: reproducible, counted as the scenario says, and physically coherent.

The geometry is checked from the files alone (codes, tally, log measurements), with this module's own
arithmetic; nothing of the generator's sawing or label code is used for it.
"""

import ast
import sys
import tomllib
from itertools import pairwise
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd
import pytest

from fixtures.demo_generator.__main__ import main
from fixtures.demo_generator.build import build
from fixtures.demo_generator.writing import demo_files

ROOT = Path(__file__).resolve().parents[1]
DEMO = ROOT / "fixtures" / "demo"
PITCH_MM = 8.3
READING_MM = 6.0  # reading errors of two diameters, uneven profile between the measured sections


def read(name: str) -> pd.DataFrame:
    return pd.read_csv(DEMO / f"{name}.csv", dtype={"board": str})


@pytest.fixture(scope="module")
def layout() -> pd.DataFrame:
    return read("layout")


@pytest.fixture(scope="module")
def boards() -> pd.DataFrame:
    return read("boards")


@pytest.fixture(scope="module")
def grades(boards: pd.DataFrame) -> pd.DataFrame:
    graded = read("grades").merge(boards, on="board", how="left", validate="many_to_one")
    graded["graded_m3"] = (
        graded["graded_length_m"] * graded["graded_width_mm"] * graded["graded_thickness_mm"] / 1e6
    )
    return graded


@pytest.fixture(scope="module")
def logs(layout: pd.DataFrame) -> pd.DataFrame:
    """Logs by code, with clone and volumes by this test's own arithmetic (Smalian; sum of frusta)."""
    rows = list(openpyxl.load_workbook(DEMO / "logs.xlsx").active.iter_rows(values_only=True))
    table = pd.DataFrame(rows[2:], columns=[name.lower() for name in rows[1]]).set_index("log")
    table["clone"] = table["tree"].map(layout.set_index("tree")["clone"])
    small, large = (
        np.pi / 4 * table["sed1_mm"] * table["sed2_mm"],
        np.pi / 4 * table["led1_mm"] * table["led2_mm"],
    )
    table["smalian_m3"] = (small + large) / 2 * table["length_m"] / 1e6
    table["sections_m3"] = [
        frusta_m3(text, length) for text, length in zip(table["sections_mm"], table["length_m"], strict=True)
    ]
    return table


def frusta_m3(sections: str, length_m: float) -> float:
    """Sum of cone frusta over equally spaced diameters."""
    d = np.array([float(part) for part in sections.split(";")]) / 1000
    return float(np.sum(d[:-1] ** 2 + d[:-1] * d[1:] + d[1:] ** 2) * np.pi / 12 * length_m / (len(d) - 1))


def is_valid_mod_11_10(digits: str) -> bool:
    """ISO/IEC 7064 hybrid system MOD 11,10 over a whole string, check digit included."""
    state = 5
    for digit in digits:
        state = ((state or 10) * 2 % 11 + int(digit)) % 10
    return state == 1


def decode(code: str) -> tuple[int, int, int, int]:
    """Log serial, end, row and column of a board code."""
    rest, col = divmod(int(code[:9]), 64)
    rest, row = divmod(rest, 64)
    serial, end = divmod(rest, 2)
    return serial, end, row, col


def nearest_mm(cell: int) -> float:
    """Least distance of a cell's row or column from the pith, which is in the middle of cell 30."""
    return max(0.0, abs(cell - 30) - 0.5) * PITCH_MM


# the files as such


def test_two_runs_give_the_same_bytes_and_those_of_the_repository(tmp_path: Path) -> None:
    main(["--out", str(tmp_path / "first")])
    main(["--out", str(tmp_path / "second")])
    names = sorted(path.name for path in DEMO.iterdir())
    assert names == sorted(path.name for path in (tmp_path / "first").iterdir())
    for name in names:
        first = (tmp_path / "first" / name).read_bytes()
        assert first == (tmp_path / "second" / name).read_bytes(), name
        assert first == (DEMO / name).read_bytes(), f"{name}: run python -m fixtures.demo_generator"


def test_another_seed_is_another_trial_of_the_same_size() -> None:
    other, here = build(7), build(1994)
    assert len(other.layout) == len(here.layout)
    assert len(other.logs) == len(here.logs)
    assert demo_files(other)["boards.csv"] != demo_files(here)["boards.csv"]


def test_the_generator_needs_no_portal() -> None:
    """Only the grades ask the portal: they are those of the shipped rules, by its own pure computing."""
    allowed = {"numpy", "pandas", "openpyxl", "fixtures"}
    for path in (ROOT / "fixtures" / "demo_generator").glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            if path.name == "grading.py":
                names = [name for name in names if not name.startswith("grading.calc.")]
            used = {name.split(".")[0] for name in names}
            assert not used & {"django", "portal", "trials", "sawing", "grading", "reports"}, path.name
            assert all(name in allowed or name in sys.stdlib_module_names for name in used), path.name


def test_counts_are_those_of_the_scenario(
    layout: pd.DataFrame, logs: pd.DataFrame, boards: pd.DataFrame, grades: pd.DataFrame
) -> None:
    assert len(layout) == 2304
    assert layout["site"].nunique() == 4
    clones = read("clones")
    assert len(clones) == 24
    assert (clones["kind"] == "parent species").sum() == 2
    assert set(layout["clone"]) == set(clones["clone"])
    assert (layout.groupby("site")["block"].nunique() == 6).all()
    assert logs["tree"].nunique() == 16
    assert logs["clone"].nunique() == 3
    assert layout.set_index("tree").loc[logs["tree"], "site"].nunique() == 2
    assert len(logs) == 48
    assert len(boards) >= 300
    assert grades["rule_set"].nunique() == 2


def test_plots_are_small_squares_and_addresses_are_taken_once(layout: pd.DataFrame) -> None:
    assert layout["tree"].is_unique
    assert not layout.duplicated(["site", "row", "col"]).any()
    plots = layout.groupby(["site", "plot"]).agg(
        trees=("tree", "size"), clones=("clone", "nunique"), blocks=("block", "nunique"),
        rows=("row", "nunique"), cols=("col", "nunique"), low=("row", "min"), high=("row", "max"),
        left=("col", "min"), right=("col", "max"),
    )  # fmt: skip
    assert (plots["trees"] == 4).all()
    assert (plots[["clones", "blocks"]] == 1).all(axis=None)
    assert (plots["high"] - plots["low"] == 1).all()
    assert (plots["right"] - plots["left"] == 1).all()
    assert (layout.groupby(["site", "block", "clone"])["plot"].nunique() == 1).all()
    for _, site in layout.groupby("site"):
        assert len(site) == site["row"].max() * site["col"].max(), "blocks adjoin: no address is left empty"


def test_the_workbook_is_one_a_person_would_keep() -> None:
    sheet = openpyxl.load_workbook(DEMO / "logs.xlsx").active
    assert sheet["A1"].value.startswith("Thirty-year")
    assert sheet["B1"].value is None
    assert [cell.value for cell in sheet[2]][:4] == ["LOG", "TREE", "BOTTOM_M", "LENGTH_M"]


def test_the_trial_file_names_one_invented_person_per_role_and_no_passwords(layout: pd.DataFrame) -> None:
    text = (DEMO / "trial.toml").read_text()
    trial = tomllib.loads(text)
    assert "password" not in text
    assert all(person["email"].endswith("@example.org") for person in trial["people"])
    assert sorted(p["role"] for p in trial["people"]) == [
        "field_crew",
        "grader",
        "manager",
        "mill",
        "researcher",
    ]
    assert {site["code"] for site in trial["sites"]} == set(layout["site"])
    assert all((DEMO / name).exists() for name in trial["files"].values())


# logs


def test_logs_stand_one_above_the_other_and_taper(logs: pd.DataFrame) -> None:
    for _, tree in logs.groupby("tree"):
        tree = tree.sort_values("bottom_m")
        tops = tree["bottom_m"] + tree["length_m"]
        assert (tree["bottom_m"].to_numpy()[1:] > tops.to_numpy()[:-1]).all()
        assert tree["mid1_mm"].notna().tolist() == [True, False, False]
    assert (logs["sed1_mm"] < logs["led1_mm"]).all()
    assert (logs["heart_sed_mm"] < logs[["sed1_mm", "sed2_mm"]].min(axis=1)).all()
    assert (logs["heart_led_mm"] < logs[["led1_mm", "led2_mm"]].min(axis=1)).all()
    assert logs["length_m"].between(3, 5).all()
    assert (logs["sed1_mm"] - logs["sed2_mm"]).abs().max() <= 0.05 * 420 + 6


def test_ends_over_measure_flared_butts(logs: pd.DataFrame) -> None:
    """Smalian over-measures neiloid and flared butt logs: Briggs 1994, ch. 2; Goulding 1979 (found)."""
    butts = logs[logs["mid1_mm"].notna()]
    assert (butts["smalian_m3"] > butts["sections_m3"]).all()


# boards


def test_the_check_routine_knows_published_numbers() -> None:
    """Valid and invalid numbers found in the tests of a public package (npm `stdnum`, iso7064.spec)."""
    assert is_valid_mod_11_10("794623")
    assert is_valid_mod_11_10("002006673085")
    assert not is_valid_mod_11_10("00200667308")


def test_codes_are_valid_and_name_log_and_cell(boards: pd.DataFrame, logs: pd.DataFrame) -> None:
    assert boards["board"].is_unique
    serials = logs["serial"]
    for board in boards.itertuples():
        assert len(board.board) == 10
        assert is_valid_mod_11_10(board.board)
        serial, end, row, col = decode(board.board)
        assert serial == serials[board.log]
        assert board.cell == f"{'BT'[end]}-{row:02d}-{col:02d}"


def test_every_board_fits_inside_its_log(boards: pd.DataFrame, logs: pd.DataFrame) -> None:
    """At the coded end by its corners in the end ellipse; at both ends by the chord of the section."""
    for board in boards.itertuples():
        log = logs.loc[board.log]
        _, end, row, col = decode(board.board)
        assert board.length_m <= log["length_m"]
        y, z = nearest_mm(col) + board.width_mm / 2, nearest_mm(row) + board.thickness_mm / 2
        names = ("sed1_mm", "sed2_mm") if end else ("led1_mm", "led2_mm")
        along, across = ((log[name] + READING_MM) / 2 for name in names)
        # the edger misses its middle by at most 5 mm, which may leave wane on the outer corner
        assert ((y - 5) / along) ** 2 + (z / across) ** 2 <= 1, board.board
        sections = [float(d) for d in log["sections_mm"].split(";")]
        far = log["length_m"] - board.length_m if end else board.length_m
        places = np.linspace(0, log["length_m"], len(sections))
        for x in (far, log["length_m"] if end else 0.0):
            radius = (np.interp(x, places, sections) + READING_MM) / 2 * 1.02  # ovality of a section
            assert z < radius, board.board
            assert board.width_mm <= 2 * np.sqrt(radius**2 - z**2), board.board


def test_flitches_lie_beside_each_other_with_a_kerf_between(boards: pd.DataFrame, logs: pd.DataFrame) -> None:
    placed = boards.assign(row=[decode(code)[2] for code in boards["board"]])
    for log, own in placed.groupby("log"):
        flitches = own.groupby("flitch").agg(
            row=("row", "mean"), t=("thickness_mm", "mean"), rows=("row", "nunique")
        )
        assert (flitches["rows"] == 1).all(), "pieces of a flitch lie in one row of cells"
        stack = flitches["t"].sum() + 4.5 * (len(flitches) - 1)
        assert stack <= logs.loc[log, ["led1_mm", "led2_mm"]].max() + READING_MM
        gaps = np.diff(flitches["row"]) * PITCH_MM + PITCH_MM
        assert (gaps >= (flitches["t"].to_numpy()[1:] + flitches["t"].to_numpy()[:-1]) / 2 + 4.5 - 2).all()


def test_pieces_of_a_flitch_are_no_longer_than_the_log(boards: pd.DataFrame, logs: pd.DataFrame) -> None:
    used = boards.groupby(["log", "flitch"]).agg(length=("length_m", "sum"), n=("board", "size"))
    available = logs.loc[used.index.get_level_values("log"), "length_m"].to_numpy()
    assert (used["length"] + 0.006 * (used["n"] - 1) <= available + 1e-9).all()


def test_sizes_are_nominal_with_oversize_and_modular(boards: pd.DataFrame) -> None:
    assert set(boards["nominal_thickness_mm"]) == {25, 38}
    assert boards["nominal_width_mm"].isin(range(75, 301, 25)).all()
    assert (boards["thickness_mm"] > boards["nominal_thickness_mm"]).all()
    assert (boards["width_mm"] > boards["nominal_width_mm"]).all()
    assert np.allclose(boards["length_m"] * 10, (boards["length_m"] * 10).round())


def test_green_recovery_is_plausible(boards: pd.DataFrame, logs: pd.DataFrame) -> None:
    """35 to 75 % by clone: common practice, no published source. No log holds more board than log."""
    volume = boards["thickness_mm"] * boards["width_mm"] * boards["length_m"] / 1e6
    by_log = volume.groupby(boards["log"]).sum().reindex(logs.index)
    for name in ("smalian_m3", "sections_m3"):
        assert (by_log < logs[name]).all()
        recovery = by_log.groupby(logs["clone"]).sum() / logs.groupby("clone")[name].sum()
        assert recovery.between(0.35, 0.75).all(), recovery


# grades and prices


def test_every_board_is_graded_once_under_each_rule_set(boards: pd.DataFrame, grades: pd.DataFrame) -> None:
    assert not grades.duplicated(["board", "rule_set"]).any()
    assert len(grades) == 2 * len(boards)
    assert set(grades["board"]) == set(boards["board"])
    assert grades["reason"].str.len().min() > 3
    assert grades["grader"].notna().all()


def test_graded_pieces_are_within_their_boards(grades: pd.DataFrame) -> None:
    for size in ("length_m", "width_mm", "thickness_mm"):
        assert (grades[f"graded_{size}"] > 0).all()
        assert (grades[f"graded_{size}"] <= grades[size]).all()
    ripped = grades["graded_width_mm"] < grades["nominal_width_mm"]
    docked = grades["graded_length_m"] < grades["length_m"]
    assert ripped.any()
    assert docked.any()


def test_every_graded_piece_has_exactly_one_price(grades: pd.DataFrame) -> None:
    prices = read("prices").fillna({"min_width_mm": 0, "max_width_mm": np.inf})
    offers = grades.merge(prices, on=["rule_set", "grade"])
    fits = (offers["min_width_mm"] <= offers["graded_width_mm"]) & (
        offers["graded_width_mm"] < offers["max_width_mm"]
    )
    assert (fits.groupby([offers["board"], offers["rule_set"]]).sum() == 1).all()
    assert fits.sum() == len(grades)
    assert set(prices["currency"]) == {"EUR"}
    assert (prices.loc[prices["grade"] == "Reject", "price_per_m3"] == 0).all()


def test_graded_recovery_is_plausible(grades: pd.DataFrame, logs: pd.DataFrame) -> None:
    """25 to 70 % by rule set: common practice, no published source. Some boards fail, most do not."""
    assert 0 < (grades["grade"] == "Reject").mean() < 0.15
    accepted = grades[grades["grade"] != "Reject"]
    recovery = accepted.groupby("rule_set")["graded_m3"].sum() / logs["smalian_m3"].sum()
    assert recovery.between(0.25, 0.70).all(), recovery


def test_maps_and_grades_tell_one_story(boards: pd.DataFrame, grades: pd.DataFrame) -> None:
    """Every board has a map; what decides a grade is on the board; bark-encased knots lead the downgrades (common
    practice, no published source)."""
    maps = read("features")
    assert set(maps["board"]) == set(boards["board"])
    assert not maps.duplicated(["board", "kind", "face", "x_mm", "y_mm"]).any()
    lengths = boards.set_index("board")["length_m"]
    assert (maps["x_mm"].fillna(0) <= maps["board"].map(lengths) * 1000).all()
    decided = grades[grades["deciding_kind"].notna()]
    there = set(zip(maps["board"], maps["kind"], strict=True))
    assert set(zip(decided["board"], decided["deciding_kind"], strict=True)) <= there
    below_best = decided[~decided["grade"].isin(["Clear", "Frame 1"])]
    for rule_set, found in below_best.groupby("rule_set"):
        assert found["deciding_kind"].value_counts().idxmax() == "encased_knot", rule_set


def test_small_branches_reach_high_grades(grades: pd.DataFrame) -> None:
    """Common practice, no published source: trees with small knots give mostly wood for cladding (Clear, A, B) and for
    framing (Frame 1, 2), and more of it than trees with large knots."""
    maps = read("features")
    knots = maps[maps["kind"].isin(["sound_knot", "dead_knot", "encased_knot"]) & (maps["size_mm"] != 0)]
    tree = grades["log"].str.rsplit("-", n=1).str[0]
    by_board = tree.groupby(grades["board"]).first()
    size = knots["width_mm"].groupby(knots["board"].map(by_board)).mean()
    good = grades["grade"].isin(["Clear", "A", "B", "Frame 1", "Frame 2"])
    of = [grades["rule_set"], tree.map(size) < size.median()]
    share = grades["graded_m3"].where(good, 0).groupby(of).sum() / grades["graded_m3"].groupby(of).sum()
    for rule_set in ("trial_appearance", "upland_structural"):
        assert share[rule_set, True] > max(0.8, share[rule_set, False]), share


def test_taps_are_plausible(boards: pd.DataFrame) -> None:
    """1500 to 6500 m/s (common practice); an air-dry conifer of 300 to 650 kg/m³; one tap a board."""
    taps = read("stiffness")
    assert list(taps["board"]) == list(boards["board"])
    assert (2 * taps["length_m"] * taps["resonance_hz"]).between(1500, 6500).all()
    volume = boards["thickness_mm"] * boards["width_mm"] * boards["length_m"] / 1e6
    assert (taps["mass_kg"] / volume).between(300, 650).all()
    assert ((taps["second_hz"] / taps["resonance_hz"]) / 2 - 1).abs().max() < 0.05


@pytest.mark.parametrize("rule_set", ["trial_appearance", "upland_structural"])
def test_rule_sets_hold_the_grades_used(rule_set: str, grades: pd.DataFrame) -> None:
    document = tomllib.loads((ROOT / "fixtures" / "rule_sets" / f"{rule_set}.toml").read_text())
    codes = [grade["code"] for grade in document["grades"]]
    assert document["code"] == rule_set
    assert "not a standard" in document["origin"]
    assert document["caution"]
    assert document["purpose"] in ("appearance", "structural")
    assert [grade["code"] for grade in document["grades"] if grade["reject"]] == ["Reject"]
    assert set(grades.loc[grades["rule_set"] == rule_set, "grade"]) <= set(codes)
    priced = read("prices")
    assert set(priced.loc[priced["rule_set"] == rule_set, "grade"]) == set(codes)


# the spoilt tally


def test_the_spoilt_tally_has_three_bad_rows_that_can_be_mended(
    boards: pd.DataFrame, logs: pd.DataFrame
) -> None:
    late = read("spoilt_tally")
    assert (~late["log"].isin(logs.index)).sum() == 1
    assert (late["width_mm"] < 0).sum() == 1
    assert late["board"].duplicated().sum() == 1
    assert not late["board"].isin(boards["board"]).any()
    table = [
        line.split("|")[1:-1]
        for line in (DEMO / "README.md").read_text().splitlines()
        if line.count("|") == 5
    ]
    mends = [[cell.strip() for cell in row] for row in table if row[0].strip().isdigit()]
    assert len(mends) == 3
    late = late.astype(object)
    for row, column, written, meant in mends:
        assert str(late.loc[int(row) - 2, column]) == written
        late.loc[int(row) - 2, column] = int(meant) if column == "width_mm" else meant
    assert late["board"].is_unique
    for board in late.itertuples():
        assert is_valid_mod_11_10(board.board)
        assert decode(board.board)[0] == logs.loc[board.log, "serial"]
        assert board.width_mm > board.nominal_width_mm
    assert not late["board"].isin(boards["board"]).any()


# measurements


def test_three_visits_of_one_stand_hold_together() -> None:
    """Nothing that was gone or dead stands again, and trees grow but for two with their digits turned round."""
    table = read("measurements")
    visits = sorted(table["measured_on"].unique())
    plan = tomllib.loads((DEMO / "trial.toml").read_text())["assessments"]
    assert set(table["assessment"]) == {a["name"] for a in plan if a["closed"]}
    assert table.groupby("measured_on")["assessment"].nunique().tolist() == [1, 1, 1]
    assert (table.groupby("tree")["measured_on"].nunique() == 3).all()
    assert (table["status"].isna() == table["dbh_mm"].notna()).all()
    assert (table["dbh_mm"].isna() == table["height_m"].isna()).all()
    dbh = table.pivot(index="tree", columns="measured_on", values="dbh_mm")[visits]
    state = table.pivot(index="tree", columns="measured_on", values="status")[visits]
    shrank = []
    for before, after in pairwise(visits):
        assert dbh[before].notna()[dbh[after].notna()].all()
        assert (state[after][state[before].isin(["dead", "missing"])] == "missing").all()
        shrank += list(dbh.index[dbh[after] < dbh[before] - 2])
    assert len(shrank) == 2
    for tree in shrank:
        first, second, third = dbh.loc[tree]
        meant = int(str(int(second))[0] + str(int(second))[:0:-1])
        assert first < meant < third < second
