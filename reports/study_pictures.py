"""The pictures of a study's page, each laid out wide and narrow, with the rows of its table twin."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial
from typing import Any

from grading.links import boards_url
from grading.models import RuleSet
from portal.templatetags.parts_numbers import clone_colour, grade_colour
from reports.calc.figures import Figures
from reports.calc.pictures import NARROW, WIDE, Bar, Dot, Share, interval_dots, out_turn
from reports.calc.recovery import RecoveryResult
from sawing.calc.board_volume import SIZE_BASIS_TITLES
from sawing.models import Study
from trials.models import Clone


@dataclass(frozen=True)
class Picture:
    """An SVG in its two widths, and its table twin."""

    title: str
    wide: str
    narrow: str
    rows: list[dict[str, Any]] = field(default_factory=list)


def both(draw: Callable[[str, int], str], name: str) -> tuple[str, str]:
    """The same picture for a sheet and for a phone; draw(name, width)."""
    return draw(f"{name}-wide", WIDE), draw(f"{name}-narrow", NARROW)


def recovery(result: RecoveryResult, clones: Mapping[str, Clone], name: str = "recovery") -> Picture:
    """Green recovery by clone with intervals."""
    dots = [_dot(code, f, clones.get(code)) for code, f in result.by_clone.items()]
    title = "How much of the log becomes boards, clone by clone?"
    basis = SIZE_BASIS_TITLES[result.size_basis]
    note = f"green recovery, {basis}, logs by {result.formula.title}; 95 % intervals by resampling trees"
    wide, narrow = both(
        lambda layout, width: interval_dots(
            dots, name=layout, title=title, note=note, reference=result.total.green_recovery, width=width
        ),
        name,
    )
    return Picture(title, wide, narrow)


def out_turns(
    study: Study, result: RecoveryResult, clones: Mapping[str, Clone], rule_sets: list[RuleSet]
) -> list[Picture]:
    """One picture per rule set: shares of each clone's graded volume by grade."""
    pictures = []
    for rule_set in rule_sets:
        if rule_set.code not in result.total.graded:
            continue
        grades = list(rule_set.grades.all())
        css = {g.code: grade_colour(i, len(grades), g.reject) for i, g in enumerate(grades)}
        bars = [_bar(code, f, rule_set.code, css, clones.get(code)) for code, f in result.by_clone.items()]
        best = grades[0].code
        title = f"{rule_set.title}: which grades, clone by clone? Best grade {best} at the left"
        note = "shares of the volume of all graded pieces"
        draw = partial(out_turn, bars, title=title, note=note)
        wide, narrow = both(
            lambda name, width, draw=draw: draw(name=name, width=width),  # type: ignore[misc]
            f"out-turn-{rule_set.code}",
        )
        pictures.append(Picture(rule_set.title, wide, narrow, _out_turn_rows(study, result, rule_set.code)))
    return pictures


def _dot(code: str, figures: Figures, clone: Clone | None) -> Dot:
    low, high = (figures.ci95 and figures.ci95.green_recovery) or (None, None)
    return Dot(
        code,
        figures.green_recovery,
        low,
        high,
        figures.trees,
        figures.boards,
        clone_colour(clone.colour if clone else None),
        clone is not None and clone.kind != "hybrid",
    )


def _bar(code: str, figures: Figures, rule_set: str, css: Mapping[str, str], clone: Clone | None) -> Bar:
    graded = figures.graded[rule_set]
    shares = [Share(grade, o.share or 0.0, css.get(grade, "grade-9")) for grade, o in graded.by_grade.items()]
    colour = clone_colour(clone.colour if clone else None)
    return Bar(code, shares, figures.trees, graded.graded_boards, colour)


def _out_turn_rows(study: Study, result: RecoveryResult, rule_set: str) -> list[dict[str, Any]]:
    return [
        {
            "clone": code,
            "grade": grade,
            "boards": o.boards,
            "volume_m3": o.volume_m3,
            "percent": None if o.share is None else 100 * o.share,
            "url": boards_url(study, clone=code, **{f"grade_{rule_set}": grade}),
        }
        for code, f in result.by_clone.items()
        for grade, o in f.graded[rule_set].by_grade.items()
    ]
