"""What is asked about along a stem. The stems are drawn by hand; each rule is met and just not met."""

from typing import Any

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from portal.calc.file_checks import check_file
from sawing.calc.stem_checks import REMARKS, Doubt, stem_doubts, stem_record_doubts
from sawing.columns import LOGS

COLUMNS = ("log", "tree", "bottom_m", "length_m", "led1_mm", "sed1_mm")


def stem(*rows: tuple[Any, ...], **more: list[Any]) -> pd.DataFrame:
    return pd.DataFrame([dict(zip(COLUMNS, row, strict=True)) for row in rows]).assign(**more)


def tree(**facts: float) -> pd.DataFrame:
    return pd.DataFrame([{"tree": "T", **facts}])


def kinds(doubts: list[Doubt]) -> list[tuple[str | None, str]]:
    return [(d.log, d.kind) for d in doubts]


SOUND = stem(
    ("A", "T", 0.30, 4.1, 330, 300), ("B", "T", 4.41, 4.1, 300, 268), ("C", "T", 8.52, 3.1, 266, 240)
)
SOUND_TREE = tree(stem_length_m=14.0, stump_m=0.3, height_m=21.0, dbh_mm=352.0)


def test_a_sound_stem_is_not_asked_about() -> None:
    assert stem_doubts(SOUND, SOUND_TREE) == []


def test_the_order_of_the_rows_does_not_matter() -> None:
    odd = SOUND.assign(sed1_mm=[300, 310, 240])
    assert stem_doubts(odd, SOUND_TREE) == stem_doubts(odd.iloc[::-1], SOUND_TREE)


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        ({"bottom_m": [0.30, 4.34, 8.52]}, [("B", "overlap")]),  # 6 cm into A
        ({"bottom_m": [0.30, 4.36, 8.52]}, []),  # 4 cm: within the allowance
        ({"bottom_m": [0.30, 4.71, 8.82]}, [("B", "gap")]),  # 31 cm missing under B
        ({"bottom_m": [0.30, 4.69, 8.79]}, []),  # 29 cm
        ({"led1_mm": [330, 250, 260], "sed1_mm": [300, 245, 251]}, [("B", "butt")]),  # B 250 under C's 251
        ({"led1_mm": [330, 321, 266]}, [("B", "step")]),  # 21 mm thicker than A's small end
        ({"led1_mm": [330, 319, 266]}, []),
        ({"sed1_mm": [300, 268, 272]}, [("C", "reverse")]),  # 6 mm the wrong way
        ({"led1_mm": [330, 300, 266], "sed1_mm": [300, 268, 140]}, [("C", "taper")]),  # 40.6 mm per m
        ({"led2_mm": [262.0, 300, 266], "sed1_mm": [290, 268, 240]}, [("A", "oval")]),  # 262 / 330 = 0.794
        ({"led2_mm": [266.0, 300, 266]}, []),  # 0.806
        ({"heart_sed_mm": [301.0, 100, 90]}, [("A", "heart")]),
        ({"bottom_m": [0.45, 4.56, 8.67]}, [("A", "stump")]),
    ],
)
def test_each_rule_at_its_limit(change: dict[str, list[Any]], expected: list[tuple[str, str]]) -> None:
    assert kinds(stem_doubts(SOUND.assign(**change), SOUND_TREE)) == expected


@pytest.mark.parametrize(
    ("facts", "expected"),
    [
        (
            {"stem_length_m": 11.3, "stump_m": 0.3},
            [],
        ),  # logs end at 11.62 m, the stem at 11.60 m, 5 cm allowed
        ({"stem_length_m": 11.26, "stump_m": 0.3}, [("C", "stem")]),
        ({"stem_length_m": 11.2, "stump_m": 0.3}, [(None, "stem"), ("C", "stem")]),
        ({"height_m": 11.2}, [(None, "height")]),  # 11.3 m of logs
        ({"height_m": 11.3}, []),
        # At 1.3 m, by the ends: 330 - 30 * 1.0 / 4.1 = 322.7 mm, less 7 % for the swollen butt: 301.6 mm.
        ({"dbh_mm": 330.0}, []),  # 0.914 of it
        ({"dbh_mm": 312.0}, []),  # 0.967
        ({"dbh_mm": 310.0}, [("A", "over_bark")]),  # 0.973
        ({"dbh_mm": 286.0}, [("A", "thicker")]),  # 1.054
        ({"dbh_mm": 405.0}, [("A", "thinner")]),  # 0.745
    ],
)
def test_against_the_tree(facts: dict[str, float], expected: list[tuple[str | None, str]]) -> None:
    assert kinds(stem_doubts(SOUND, tree(**facts))) == expected


def test_a_mid_diameter_shows_the_stem_above_the_swollen_butt() -> None:
    """Mid 300 mm at 2.35 m and 290 mm at 4.4 m: 305.1 mm at 1.3 m, whatever the butt: 0.924 of 330, 0.984 of 310."""
    swollen = SOUND.assign(led1_mm=[380, 285, 266], sed1_mm=[290, 268, 240], mid1_mm=[300.0, None, None])
    assert stem_doubts(swollen, tree(dbh_mm=330.0)) == []
    assert kinds(stem_doubts(swollen, tree(dbh_mm=310.0))) == [("A", "over_bark")]


def test_logs_said_to_be_over_bark_may_be_as_thick_as_the_tree() -> None:
    assert stem_doubts(SOUND.assign(bark="over"), tree(dbh_mm=305.0)) == []


def test_ends_with_bark_and_without_are_not_compared() -> None:
    mixed = SOUND.assign(bark=["under", "over", "over"], led1_mm=[330, 325, 266])
    assert stem_doubts(mixed, None) == []


def test_what_is_not_known_is_not_asked_about() -> None:
    assert stem_doubts(SOUND, None) == stem_doubts(SOUND, tree(dbh_mm=float("nan"))) == []
    assert stem_doubts(SOUND.iloc[:0], None) == []


def test_trees_are_not_mixed() -> None:
    other = SOUND.assign(tree="U", log=["D", "E", "F"], bottom_m=[0.3, 4.3, 8.4])
    both = stem_doubts(pd.concat([SOUND, other]), SOUND_TREE)
    assert [(d.tree, d.log, d.kind) for d in both] == [("U", "E", "overlap")]


def test_the_words_name_both_logs_and_their_sizes() -> None:
    asked = stem_doubts(SOUND.assign(led1_mm=[330, 250, 266], sed1_mm=[300, 245, 251]), None)
    assert asked[0].words == ("its large end (250 mm) is thinner than the small end of C above it (251 mm)")


@settings(max_examples=40, deadline=None)
@given(st.floats(0.1, 1.0), st.floats(2.0, 5.0), st.floats(100, 500), st.floats(3, 15), st.integers(1, 6))
def test_a_stem_cut_without_loss_is_never_asked_about(
    stump: float, length: float, butt: float, taper: float, n: int
) -> None:
    """Any straight cone cut into logs end to end has nothing odd along it, as long as it tapers moderately."""
    rows = []
    for i in range(n):
        low, high = butt - taper * length * i, butt - taper * length * (i + 1)
        if high < 30:
            break
        rows.append((f"L{i}", "T", stump + i * length, length, low, high))
    if rows:
        assert stem_doubts(stem(*rows), tree(stump_m=stump, stem_length_m=n * length + 1)) == []


def test_a_stem_record_is_asked_about_beyond_its_limits() -> None:
    assert stem_record_doubts(21.4, 0.3, 21.0) == []
    assert len(stem_record_doubts(21.9, 0.3, 21.0)) == 1
    assert len(stem_record_doubts(1.9, 1.2, float("nan"))) == 2
    assert stem_record_doubts(float("nan"), float("nan"), float("nan")) == []


def test_an_upload_is_remarked_on_with_the_logs_stored_already_and_the_tree() -> None:
    head = "log,tree,bottom_m,length_m,led1_mm,sed1_mm\n"
    stored = SOUND.iloc[:1]
    known = {"stored_logs": stored, "trees": tree(height_m=5.0)}
    found = check_file((head + "B,T,4.2,4.1,300,268\n").encode(), "logs.csv", LOGS, known)
    assert found.problems == []
    assert found.notes == [f"{REMARKS['overlap']}: row 2", f"{REMARKS['height']}: row 2"]


def test_a_log_sent_again_counts_once() -> None:
    head = "log,tree,bottom_m,length_m,led1_mm,sed1_mm\n"
    found = check_file((head + "A,T,0.3,4.1,330,300\n").encode(), "logs.csv", LOGS, {"stored_logs": SOUND})
    assert found.notes == []
