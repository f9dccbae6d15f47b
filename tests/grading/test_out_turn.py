"""Out-turn: shares by group, reasons, losses, two rule sets beside each other."""

import pandas as pd
import pytest
from django.test import Client
from hypothesis import given
from hypothesis import strategies as st

from grading.calc.out_turn_tables import cross, graded_frame, groups, losses, pareto, position_of, width_class
from grading.models import BoardGrade, RuleSet
from grading.outturn.queries import graded, grouped_by
from sawing.models import Board
from tests.conftest import Place

ORDER = ["A", "B", "Out"]
NONE = float("nan")


def boards(*rows: tuple[str, str, str, float, float, str | None]) -> pd.DataFrame:
    """(tree, clone, grade, graded length, graded width, deciding kind) of boards of 4 m × 200 × 25 mm."""
    return graded_frame(
        pd.DataFrame(
            [
                {
                    "board": f"B{at}", "tree": tree, "clone": clone, "grade": grade, "deciding_kind": kind,
                    "graded_length_m": length, "graded_width_mm": width, "graded_thickness_mm": 25.0,
                    "length_m": 4.0, "width_mm": 207.0, "thickness_mm": 27.0, "nominal_width_mm": 200.0,
                }
                for at, (tree, clone, grade, length, width, kind) in enumerate(rows)
            ]
        )
    )  # fmt: skip


FOUR = boards(
    ("T1", "K1", "A", 4.0, 200.0, None),
    ("T1", "K1", "B", 3.0, 200.0, "encased_knot"),
    ("T2", "K1", "B", 4.0, 150.0, "encased_knot"),
    ("T3", "K2", "Out", NONE, NONE, "split"),
)


def test_shares_are_ratios_of_totals_and_trees_are_counted() -> None:
    """Arithmetic: 0.02 + 0.015 + 0.015 m³ in K1, of which A holds 0.02."""
    first, second = groups(FOUR, "clone", ORDER, "A", rejects=["Out"])
    assert (first.name, first.boards, first.trees) == ("K1", 3, 2)
    assert first.volume_m3 == pytest.approx(0.05)
    assert first.better == pytest.approx(0.4)
    assert first.share("B") == pytest.approx(0.6)
    assert first.interval is not None
    assert first.interval[0] == pytest.approx(0)
    assert first.interval[1] == pytest.approx(4 / 7)
    assert (second.better, second.interval) == (0, None)
    assert "one tree" in (second.note or "")


def test_losses_go_to_what_decided() -> None:
    """1 m × 200 × 25 mm docked and 4 m × 50 × 25 mm ripped for encased knots: 0.005 m³ each (arithmetic)."""
    found = {row["kind"]: row for row in losses(FOUR)}
    assert found["encased_knot"]["lost_m3"] == pytest.approx(0.01)
    assert (found["encased_knot"]["docked"], found["encased_knot"]["ripped"]) == (1, 1)
    assert found["encased_knot"]["lost_length_m"] == pytest.approx(1)
    assert found["encased_knot"]["lost_width_mm"] == pytest.approx(50)
    assert found["nothing"]["lost_m3"] == 0


def test_reasons_come_most_first_and_add_up() -> None:
    rows = pareto(FOUR, ["B", "Out"])
    assert [(r["kind"], r["boards"]) for r in rows] == [("encased_knot", 2), ("split", 1)]
    assert rows[-1]["cumulative"] == 1
    assert pareto(FOUR, []) == []


def test_two_rule_sets_side_by_side() -> None:
    second = pd.DataFrame({"board": ["B0", "B1", "B2", "B9"], "grade": ["S", "S", "P", "P"]})
    rows = cross(FOUR, second, ORDER, ["S", "P"])
    assert [[c["boards"] for c in row["cells"]] for row in rows] == [[1, 0], [1, 1], [0, 0]]


def test_positions_and_widths() -> None:
    assert list(position_of(pd.Series([1, 2, 5, None]))) == [
        "butt log", "second log", "third log and above", "not known",
    ]  # fmt: skip
    assert list(width_class(pd.Series([149.0, 150.0, NONE]))) == [
        "100 to 149 mm",
        "150 to 199 mm",
        "not known",
    ]


def test_a_grade_nobody_knows_is_refused() -> None:
    with pytest.raises(ValueError, match="'Z' is none of"):
        groups(FOUR, "clone", ORDER, "Z")


ROWS = st.lists(
    st.tuples(
        st.sampled_from(["T1", "T2", "T3"]),
        st.sampled_from(["K1", "K2"]),
        st.sampled_from(ORDER),
        st.floats(0.5, 4),
        st.floats(75, 200),
        st.sampled_from(["encased_knot", "split", None]),
    ),
    min_size=1,
    max_size=20,
)


@given(ROWS)
def test_shares_sum_to_one_and_totals_are_kept(
    rows: list[tuple[str, str, str, float, float, str | None]],
) -> None:
    table = boards(*rows)
    found = groups(table, "clone", ORDER, "B", rejects=["Out"], resamples=100)
    assert sum(g.volume_m3 for g in found) == pytest.approx(table["volume_m3"].sum())
    assert sum(g.boards for g in found) == len(rows)
    for g in found:
        assert sum(g.share(grade) for grade in ORDER) == pytest.approx(1)
        assert g.better is not None
        assert -1e-9 <= g.better <= 1 + 1e-9
    assert sum(r["lost_m3"] for r in losses(table)) == pytest.approx(table["lost_m3"].sum())
    assert sum(r["boards"] for r in pareto(table, ORDER)) == len(rows)


def test_the_frame_of_a_study(material: Place) -> None:
    look = RuleSet.objects.get(code="look")
    table = graded(material.study, look)
    assert list(table["board"]) == ["B1", "B2", "B4", "B6"]
    assert table.set_index("board").loc["B1", "volume_m3"] == pytest.approx(2.7 * 200 * 28 / 1e6)
    assert set(table["position"]) == {"butt log"}
    by_place = grouped_by(material.study, table, "radial")
    assert set(by_place["group"]) <= {"inner", "middle", "outer", "not known"}


@pytest.mark.parametrize("by", ["clone", "tree", "position", "radial", "width", "nonsense"])
def test_the_page_groups_by_all_of_them(material: Place, client: Client, by: str) -> None:
    BoardGrade.objects.filter(board__code="B2").update(deciding_kind="encased_knot")
    client.force_login(material.people["mill"])
    url = "/grading/small/first/out-turn/"
    page = client.get(url, {"by": by, "rules": "look", "to": "Fine"}).content.decode()
    assert "encased knot" in page
    assert "<svg" in page
    assert client.get(url, {"by": by, "download": "csv"}).status_code == 200


def test_without_grades_the_page_says_so(material: Place, client: Client) -> None:
    BoardGrade.objects.all().delete()
    client.force_login(material.people["mill"])
    assert "No graded boards yet" in client.get("/grading/small/first/out-turn/").content.decode()
    assert Board.objects.count() == 7
