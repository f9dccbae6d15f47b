"""Balance of a log: its parts make the log, the kerf is an estimate or unknown."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sawing.calc.balance import KERF_NOTE, log_balance
from sawing.calc.board_volume import as_size_basis, board_volumes

LOGS = pd.Series(["L1", "L2"])
VOLUME = pd.Series([0.30, 0.20])


def tally(flitches: list[str | None]) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "board": [f"B{n}" for n in range(len(flitches))],
            "log": "L1",
            "flitch": flitches,
            "thickness_mm": 30.0,
            "width_mm": 200.0,
            "length_m": 3.0,
        }
    )


def test_kerf_of_cuts_beside_the_boards() -> None:
    """Two flitches of one 200 mm board each, 3 m: three cuts of 4 mm x 200 mm x 3 m = 0.0072 m3 (computed
    by hand)."""
    boards = tally(["1", "2"])
    balance = log_balance(LOGS, VOLUME, boards, board_volumes(boards).volume_m3, kerf_mm=4.0)
    assert balance.parts.loc["L1", "kerf_m3"] == pytest.approx(0.0072)
    assert balance.parts.loc["L1", "rest_m3"] == pytest.approx(0.30 - 2 * 0.018 - 0.0072)
    assert balance.kerf_note == KERF_NOTE


def test_boards_cut_from_one_flitch_share_its_cuts() -> None:
    """Docked into two lengths, a flitch has the same face and the same cuts as before."""
    whole, docked = tally(["1", "2"]), tally(["1", "2", "2"])
    docked.loc[1:, "length_m"] = 1.5
    one = log_balance(LOGS, VOLUME, whole, board_volumes(whole).volume_m3, 4.0).parts["kerf_m3"]
    other = log_balance(LOGS, VOLUME, docked, board_volumes(docked).volume_m3, 4.0).parts["kerf_m3"]
    assert other["L1"] == pytest.approx(one["L1"])


def test_kerf_is_unknown_without_kerf_width_flitch_numbers_or_boards() -> None:
    for boards, kerf in [(tally(["1", "2"]), None), (tally(["1", None]), 4.0), (tally([]), 4.0)]:
        balance = log_balance(LOGS, VOLUME, boards, board_volumes(boards).volume_m3, kerf)
        assert balance.parts["kerf_m3"].isna().all()
        assert balance.kerf_note is None
    assert balance.parts["rest_m3"].tolist() == [0.30, 0.20]


@given(
    volume=st.floats(0.01, 2.0),
    widths=st.lists(st.integers(50, 400), max_size=12),
    kerf=st.none() | st.floats(0.0, 8.0),
)
@settings(deadline=None)
def test_parts_sum_to_the_log(volume: float, widths: list[int], kerf: float | None) -> None:
    boards = tally([str(n) for n in range(len(widths))]).assign(width_mm=np.array(widths, dtype=float))
    balance = log_balance(
        pd.Series(["L1"]), pd.Series([volume]), boards, board_volumes(boards).volume_m3, kerf
    )
    parts = balance.parts.fillna({"kerf_m3": 0.0}).loc["L1"]
    summed = parts["boards_m3"] + parts["kerf_m3"] + parts["rest_m3"] + parts["closing_m3"]
    assert summed == pytest.approx(parts["log_volume_m3"], rel=1e-12, abs=1e-15)
    assert parts["rest_m3"] >= 0
    assert parts["closing_m3"] <= 0
    assert parts["rest_m3"] == 0 or parts["closing_m3"] == 0


def test_more_boards_than_log_shows_in_closing() -> None:
    boards = tally(["1", "2"])
    parts = log_balance(LOGS, pd.Series([0.03, 0.2]), boards, board_volumes(boards).volume_m3).parts
    assert parts.loc["L1", "closing_m3"] == pytest.approx(-0.006)
    assert parts.loc["L1", "closing_share"] == pytest.approx(-0.2)


def test_board_sizes_missing_in_a_basis_are_problems() -> None:
    boards = tally(["1", "2"]).assign(nominal_thickness_mm=25.0, nominal_width_mm=[190.0, np.nan])
    assert board_volumes(boards).problems == ()
    found = board_volumes(boards, "nominal")
    assert [(p.index, p.column, p.found) for p in found.problems] == [(1, "nominal_width_mm", "")]
    assert found.volume_m3.isna().tolist() == [False, True]
    assert [p.column for p in board_volumes(boards, "dry").problems].count("dry_thickness_mm") == 2


def test_dry_length_falls_back_to_the_sawn_length() -> None:
    boards = tally(["1", "2"]).assign(dry_thickness_mm=20.0, dry_width_mm=150.0, dry_length_m=[2.5, np.nan])
    assert board_volumes(boards, "dry").length_m.tolist() == [2.5, 3.0]


def test_size_basis_names() -> None:
    assert as_size_basis("Actual green") == "actual_green"
    with pytest.raises(ValueError, match="actual_green, nominal, dry"):
        as_size_basis("wet")
    with pytest.raises(ValueError, match="kerf"):
        log_balance(LOGS, VOLUME, tally([]), pd.Series(dtype=float), kerf_mm=-1.0)
