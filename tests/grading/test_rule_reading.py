"""Reading rule set documents: what is wrong is said by its key, all of it at once."""

from __future__ import annotations

import copy
import math
import tomllib
from pathlib import Path
from typing import Any

import pytest

from grading.calc.feature_kinds import BY_CODE, GROUPS, KINDS, NAMES, looked_for, members
from grading.calc.rule_limits import METRICS, PLACES
from grading.calc.rule_reading import RuleProblems, limit_value, read_rules

FOLDER = Path(__file__).resolve().parents[2] / "fixtures" / "rule_sets"
CONTENT: dict[str, Any] = {
    "code": "c",
    "title": "C",
    "grades": [{"code": "A"}, {"code": "B", "min_length_mm": 500}, {"code": "X", "reject": True}],
    "piece": {"length_module_mm": 100, "widths_mm": [100, 75]},
    "limits": [{"kinds": ["knots"], "metric": "size_mm", "limit": {"A": 10, "B": "any"}, "origin": "own"}],
    "prices": [{"grade": "A", "price_per_m3": 10, "max_width_mm": 100}],
}


def with_(path: tuple[Any, ...], value: Any) -> dict[str, Any]:
    content: Any = copy.deepcopy(CONTENT)
    at = content
    for step in path[:-1]:
        at = at[step]
    at[path[-1]] = value
    assert isinstance(content, dict)
    return content


def test_it_reads() -> None:
    rules = read_rules(CONTENT)
    assert [g.min_length_mm for g in rules.grades] == [900, 500, 900]
    assert rules.piece.widths_mm == (75, 100)
    assert [m.limit for m in rules.limits] == [10.0, math.inf]
    assert rules.limits[0].kinds == members("knots")
    assert rules.prices[0].max_width_mm == 100
    assert (rules.reject, rules.gradable, rules.from_memory) == ("X", True, False)


@pytest.mark.parametrize("path", sorted(FOLDER.glob("*.toml")), ids=lambda p: p.stem)
def test_shipped_documents_read_and_say_where_each_limit_comes_from(path: Path) -> None:
    rules = read_rules(tomllib.loads(path.read_text(encoding="utf-8")))
    assert rules.code == path.stem
    assert all(m.source and m.clause and m.origin for m in rules.limits)
    assert rules.origin
    assert rules.caution


@pytest.mark.parametrize(
    ("path", "value", "key"),
    [
        (("code",), "", "code"),
        (("version",), 0, "version"),
        (("grades",), [], "grades"),
        (("grades", 1, "code"), "A", "grades 2, code"),
        (("grades", 0, "reject"), True, "grades 2, code"),
        (("grades", 0, "min_length_mm"), 0, "grades 1, min_length_mm"),
        (("piece", "length_module_mm"), 0, "piece, length_module_mm"),
        (("piece", "cut_step_mm"), "x", "piece, cut_step_mm"),
        (("piece", "widths_mm"), [75, 75], "piece, widths_mm"),
        (("piece", "margin_share"), 0.7, "piece, margin_share"),
        (("piece", "may_split"), 1, "piece, may_split"),
        (("piece", "colour"), 1, "piece, colour"),
        (("limits",), [], "limits"),
        (("limits", 0, "kinds"), ["knuts"], "limits 1, kinds"),
        (("limits", 0, "metric"), "weight", "limits 1, metric"),
        (("limits", 0, "place"), "top", "limits 1, place"),
        (("limits", 0, "origin"), "somewhere", "limits 1, origin"),
        (("limits", 0, "limit"), {"A": 10}, "limits 1, limit"),
        (("limits", 0, "limit"), {"A": 10, "B": 20, "X": 3}, "limits 1, limit"),
        (("limits", 0, "limit", "A"), -1, "limits 1, limit, A"),
        (("limits", 0, "limit", "A"), "1/0", "limits 1, limit, A"),
        (("limits", 0, "window_mm"), -5, "limits 1, window_mm"),
        (("limits", 0, "over_mm"), 2000, "limits 1, over_mm"),
        (("limits", 0, "when_margin_above"), 0.5, "limits 1, when_margin_above"),
        (("limits", 0, "size"), 1, "limits 1, size"),
        (("prices", 0, "grade"), "Z", "prices 1, grade"),
        (("prices", 0, "price_per_m3"), None, "prices 1, price_per_m3"),
    ],
)
def test_each_fault_is_named_by_its_key(path: tuple[Any, ...], value: Any, key: str) -> None:
    with pytest.raises(RuleProblems) as caught:
        read_rules(with_(path, value))
    assert key in [found for found, _ in caught.value.problems]


@pytest.mark.parametrize(
    ("kinds", "metric", "more"),
    [
        (["bow"], "size_mm", {}),
        (["sound_knot"], "warp_mm", {}),
        (["sound_knot"], "count", {}),
        (["sound_knot"], "length_share", {"window_mm": 10}),
    ],
)
def test_metrics_that_do_not_fit_their_kinds_are_refused(
    kinds: list[str], metric: str, more: dict[str, Any]
) -> None:
    limit = {"kinds": kinds, "metric": metric, "limit": {"all": 1}, "origin": "own", **more}
    with pytest.raises(RuleProblems):
        read_rules(with_(("limits",), [limit]))


def test_all_faults_come_at_once() -> None:
    content = with_(("code",), "")
    content["piece"]["rip_step_mm"] = 0
    content["limits"][0]["metric"] = "weight"
    with pytest.raises(RuleProblems) as caught:
        read_rules(content)
    assert len(caught.value.problems) == 3


@pytest.mark.parametrize(
    ("written", "value"),
    [("any", math.inf), ("None", 0.0), ("1/3", 1 / 3), (0.2, 0.2), (True, None), ("a", None), ("1/0", None)],
)
def test_values_of_limits(written: object, value: float | None) -> None:
    assert limit_value(written, "size_mm") == value


def test_presence_takes_words_only() -> None:
    assert limit_value(3, "presence") is None
    assert limit_value("none", "presence") == 0.0
    assert math.isnan(limit_value("", "presence") or 0.0)


def test_vocabulary() -> None:
    assert len(BY_CODE) == len(KINDS)
    assert not set(GROUPS) & set(BY_CODE)
    assert set(NAMES) == set(GROUPS) | set(BY_CODE)
    assert looked_for(["dead_knot"]) == set(members("knots"))
    assert looked_for(["check"]) == {"check"}
    with pytest.raises(ValueError, match="no kind of feature"):
        members("knotty")
    assert "any" in PLACES
    assert "presence" in METRICS
