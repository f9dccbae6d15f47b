"""What no single cell of a layout or a list of clones shows."""

from __future__ import annotations

import pandas as pd

from portal.calc.file_checks import Checked, check_file
from trials.columns import CLONES, LAYOUT

HEADER = "site,block,plot,clone,tree,row,col,planted_on\n"


def layout(*rows: str, known: dict[str, pd.DataFrame] | None = None) -> Checked:
    return check_file((HEADER + "\n".join(rows)).encode(), "layout.csv", LAYOUT, known or {})


def places(result: Checked) -> list[tuple[int | None, str | None]]:
    return [(problem.row, problem.column) for problem in result.problems]


def test_a_sound_layout_is_taken_whole_and_a_plot_may_hold_two_clones():
    result = layout("AR,1,1,HL-01,A1,1,1,1994-04-12", "AR,1,1,HL-02,A2,1,2,1994-04-12")
    assert result.problems == []
    assert len(result.accepted) == 2


def test_two_trees_in_one_place_are_a_problem_of_the_later():
    result = layout("AR,1,1,H,A1,1,1,", "AR,1,1,H,A2,1,1,", "BR,1,1,H,A3,1,1,")
    assert places(result) == [(3, "col")]
    assert result.problems[0].found == "place taken: site AR, row 1, col 1"
    assert "the first stands in row 2" in result.problems[0].expected


def test_a_place_taken_by_a_known_tree_is_a_problem_unless_it_is_the_same_tree():
    trees = pd.DataFrame({"tree": ["A1", "A9"], "site": "AR", "row": [1, 1], "col": [1, 2]})
    result = layout("AR,1,1,H,A1,1,1,", "AR,1,1,H,A2,1,2,", known={"trees": trees})
    assert places(result) == [(3, "col")]
    assert "tree A9 stands there already" in result.problems[0].expected


def test_the_same_tree_twice_is_a_problem():
    assert places(layout("AR,1,1,H,A1,1,1,", "AR,1,1,H,A1,1,2,")) == [(3, "tree")]


def test_a_clone_that_is_not_among_the_clones_is_a_problem_only_when_clones_are_known():
    rows = ("AR,1,1,HL-09,A1,1,1,", "AR,1,1,hl-01,A2,1,2,")
    result = layout(*rows, known={"clones": pd.DataFrame({"clone": ["HL-01"]})})
    assert places(result) == [(2, "clone")]
    assert result.accepted["clone"].tolist() == ["HL-01"]
    assert layout(*rows).problems == []


def test_clones_that_differ_by_case_alone_are_problems_of_the_later_spelling():
    result = layout("AR,1,1,HL-01,A1,1,1,", "AR,1,1,hl-01,A2,1,2,", "AR,1,1,hl-01,A3,1,3,")
    assert places(result) == [(3, "clone"), (4, "clone")]
    assert "row 2 has “HL-01”" in result.problems[0].expected


def test_sites_that_differ_by_case_alone_are_a_note():
    result = layout("AR,1,1,H,A1,1,1,", "ar,1,1,H,A2,1,1,")
    assert result.problems == []
    assert result.notes == ["site “ar” (row 3) and “AR” (row 2) differ by case alone"]


def test_clones_are_read_and_clash_with_the_spelling_known_already():
    known = {"clones": pd.DataFrame({"clone": ["HL-02", "HL-03"]})}
    data = b"Clone;Kind;Seed parent\nHL-01;Parent Species;E10\nhl-02;hybrid;\nHL-03;;HL-03\n"
    result = check_file(data, "clones.csv", CLONES, known)
    assert places(result) == [(3, "clone")]
    assert result.accepted["kind"].tolist() == ["parent species", None]
    assert result.notes == ["a clone named as its own parent: row 4"]
