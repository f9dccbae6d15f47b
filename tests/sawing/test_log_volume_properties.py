"""Log volumes: what must hold for every log, whatever its size, and every refusal."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sawing.calc.log_formulae import REGISTRY
from sawing.calc.log_volume import formula_named, log_volumes

GEOMETRIC = sorted(set(REGISTRY) - {"jas", "nz_three_dimensional"})
diameter = st.floats(80.0, 900.0)


@st.composite
def logs_frames(draw: st.DrawFn) -> pd.DataFrame:
    rows = draw(
        st.lists(
            st.fixed_dictionaries(
                {
                    "sed1_mm": diameter,
                    "sed2_mm": st.none() | diameter,
                    "led1_mm": diameter,
                    "mid1_mm": diameter,
                    "centroid_mm": st.none() | diameter,
                    "length_m": st.floats(0.5, 12.0),
                }
            ),
            min_size=1,
            max_size=5,
        )
    )
    frame = pd.DataFrame(rows, index=[f"row {n}" for n in range(len(rows), 0, -1)])
    return frame.astype(float)


@pytest.mark.parametrize("formula", GEOMETRIC)
@given(logs=logs_frames(), factor=st.floats(0.2, 3.0))
@settings(max_examples=25, deadline=None)
def test_twice_as_thick_is_four_times_the_volume(formula: str, logs: pd.DataFrame, factor: float) -> None:
    thicker = logs.mul(factor).assign(length_m=logs["length_m"])
    longer = logs.assign(length_m=logs["length_m"] * factor)
    volume = log_volumes(logs, formula).volume_m3
    np.testing.assert_allclose(
        log_volumes(thicker, formula).volume_m3, volume * factor**2, rtol=1e-9, atol=1e-12
    )
    np.testing.assert_allclose(log_volumes(longer, formula).volume_m3, volume * factor, rtol=1e-9, atol=1e-12)


@given(logs=logs_frames(), k=st.floats(0.7, 1.0))
@settings(max_examples=25, deadline=None)
def test_bark_factor_is_squared_in_volume(logs: pd.DataFrame, k: float) -> None:
    for formula in GEOMETRIC:
        under = log_volumes(logs, formula).volume_m3
        over = log_volumes(logs.assign(bark="over"), formula, bark_factor=k).volume_m3
        np.testing.assert_allclose(over, under * k * k, rtol=1e-9, atol=1e-12)


@given(logs=logs_frames())
@settings(max_examples=25, deadline=None)
def test_known_equivalences(logs: pd.DataFrame) -> None:
    volume = {name: log_volumes(logs, name).volume_m3 for name in REGISTRY}
    np.testing.assert_allclose(volume["newton"], (volume["smalian"] + 2 * volume["huber"]) / 3, rtol=1e-9)
    np.testing.assert_allclose(
        volume["cone_frustum"], (volume["smalian"] + 2 * volume["mean_diameter"]) / 3, rtol=1e-9
    )
    mid_only = log_volumes(logs.drop(columns="centroid_mm"), "centroid")
    np.testing.assert_allclose(mid_only.volume_m3, volume["newton"], rtol=1e-7)
    assert [label for label, _ in mid_only.notes] == list(logs.index)
    mean_diameter_is_least = volume["mean_diameter"] <= volume["cone_frustum"] * (1 + 1e-9)
    assert (mean_diameter_is_least & (volume["cone_frustum"] <= volume["smalian"] * (1 + 1e-9))).all()


@given(d=diameter, length=st.floats(0.5, 12.0))
def test_all_agree_on_a_cylinder(d: float, length: float) -> None:
    cylinder = pd.DataFrame(
        {"sed1_mm": [d], "led1_mm": d, "mid1_mm": d, "centroid_mm": d, "length_m": length}
    )
    exact = np.pi / 4 * (d / 1000) ** 2 * length
    for formula in GEOMETRIC:
        assert log_volumes(cylinder, formula).volume_m3.iloc[0] == pytest.approx(exact, rel=1e-9)


@given(logs=logs_frames())
@settings(max_examples=25, deadline=None)
def test_each_log_is_computed_by_itself_and_keeps_its_label(logs: pd.DataFrame) -> None:
    for formula in REGISTRY:
        together = log_volumes(logs, formula).volume_m3
        assert together.index.equals(logs.index)
        for label in logs.index:
            alone = log_volumes(logs.loc[[label]], formula).volume_m3[label]
            assert alone == pytest.approx(together[label], rel=1e-12)


def test_names_are_understood_as_people_write_them() -> None:
    for text in ("smalian", "Smalian", " SMALIAN "):
        assert formula_named(text).name == "smalian"
    for text in ("cone", "Cone frustum", "cone-frustum", "CONE_FRUSTUM", "conic"):
        assert formula_named(text).name == "cone_frustum"
    assert formula_named("JAS").name == "jas"
    assert formula_named("small end cylinder").name == "small_end_cylinder"
    assert formula_named("Bruce").name == "bruce_butt"
    for name in REGISTRY:
        assert formula_named(name).name == name
        assert formula_named(formula_named(name).title).name == name


def test_unknown_name_lists_the_names() -> None:
    with pytest.raises(ValueError, match=r"unknown log volume formula 'cube'.*smalian, huber, newton"):
        formula_named("cube")
    with pytest.raises(ValueError, match="expected one of"):
        log_volumes(pd.DataFrame(), "")


def test_every_formula_says_what_it_is() -> None:
    for entry in REGISTRY.values():
        info = entry.info
        assert info.text.startswith("V = ")
        assert info.origin in {"found", "computed", "from memory", "common practice, no published source"}
        assert info.source


def test_over_bark_needs_a_factor() -> None:
    logs = pd.DataFrame(
        {"sed1_mm": [300.0, 300.0], "led1_mm": [320.0, 320.0], "length_m": 4.0, "bark": ["over", None]}
    )
    found = log_volumes(logs)
    assert [(p.index, p.column, p.found, p.expected) for p in found.problems] == [
        (0, "bark", "over", "under, or a bark factor")
    ]
    assert np.isnan(found.volume_m3[0])
    assert found.volume_m3[1] > 0
    with pytest.raises(ValueError, match="bark factor"):
        log_volumes(logs, bark_factor=1.1)


@pytest.mark.parametrize(
    ("formula", "missing", "column"),
    [
        ("huber", "mid1_mm", "mid1_mm"),
        ("newton", "mid1_mm", "mid1_mm"),
        ("smalian", "led1_mm", "led1_mm"),
        ("jas", "sed1_mm", "sed1_mm"),
        ("cone", "length_m", "length_m"),
        ("centroid", "mid1_mm", "centroid_mm"),
    ],
)
def test_what_a_formula_needs_is_a_problem_when_missing(formula: str, missing: str, column: str) -> None:
    logs = pd.DataFrame({"sed1_mm": [300.0], "led1_mm": 340.0, "mid1_mm": 320.0, "length_m": 4.0})
    assert log_volumes(logs, formula).problems == ()
    found = log_volumes(logs.assign(**{missing: np.nan}), formula)
    assert [problem.column for problem in found.problems] == [column]
    assert found.volume_m3.isna().all()


def test_a_second_reading_alone_serves() -> None:
    logs = pd.DataFrame({"sed1_mm": [np.nan], "sed2_mm": [300.0], "led1_mm": 300.0, "length_m": 4.0})
    assert log_volumes(logs).volume_m3[0] == pytest.approx(np.pi / 4 * 0.09 * 4)


@pytest.mark.parametrize("wrong", [0.0, -300.0, np.inf])
def test_impossible_sizes_are_problems_not_volumes(wrong: float) -> None:
    good = pd.DataFrame({"sed1_mm": [300.0], "led1_mm": 340.0, "length_m": 4.0})
    for column in (*good.columns, "sed2_mm", "led2_mm", "mid1_mm"):
        found = log_volumes(good.assign(**{column: wrong}))
        assert {problem.column for problem in found.problems} == {column}
        assert found.volume_m3.isna().all()


@pytest.mark.parametrize("text", ["420", "420;", "420;x;300", "420;0;300", "-420;300", "420,360"])
def test_sections_that_cannot_be_read(text: str) -> None:
    logs = pd.DataFrame({"sed1_mm": [280.0], "led1_mm": 420.0, "length_m": 6.0, "sections_mm": text})
    found = log_volumes(logs, "sections")
    assert [(problem.column, problem.found) for problem in found.problems] == [("sections_mm", text)]
    assert log_volumes(logs, "smalian").problems == ()


def test_no_logs_no_volumes() -> None:
    for formula in REGISTRY:
        assert len(log_volumes(pd.DataFrame({"sed1_mm": [], "led1_mm": []}), formula).volume_m3) == 0
