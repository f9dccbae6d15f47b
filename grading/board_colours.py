"""Grades as colours of boards on a log end, one way of colouring a rule set."""

from functools import partial
from itertools import pairwise

from grading.calc.stiffness_table import latest_of_each
from grading.models import BoardGrade, Grade, RuleSet, StiffnessReading
from grading.stiffness.queries import tap_table
from portal.templatetags.parts_numbers import grade_colour
from sawing.board_colours import BoardColours, Colouring
from sawing.end_places import EndScene
from sawing.models import Study

BANDS_GPA = (12.0, 10.0, 8.0, 6.0)
"""Lower limits of the bands in which stiffness is coloured, our own."""


def grade_colours(study: Study) -> list[Colouring]:
    """A colouring for each rule set in force by which boards of the study were graded."""
    graded = BoardGrade.objects.filter(board__study=study).values("rule_set")
    found = RuleSet.objects.filter(current=True, pk__in=graded)
    return [Colouring(f"grade-{r.code}", f"Grade, {r.title}", partial(_by_grade, r)) for r in found]


def _by_grade(rule_set: RuleSet, scene: EndScene) -> BoardColours:
    grades = list(Grade.objects.filter(rule_set=rule_set).order_by("rank"))
    css = {g.code: grade_colour(i, len(grades), g.reject) for i, g in enumerate(grades)}
    codes = [b.code for b in scene.placed]
    rows = BoardGrade.objects.filter(rule_set=rule_set, board__study=scene.study, board__code__in=codes)
    given = dict(rows.values_list("board__code", "grade__code"))
    found = {code: (css[grade], f"grade {grade}") for code, grade in given.items()}
    if not found:
        return BoardColours(missing=f"None of these boards is graded by {rule_set.title}.")
    key = [(css[g.code], g.title or g.code) for g in grades]
    return BoardColours(found, (*key, ("", "not graded")))


def stiffness_colours(study: Study) -> list[Colouring]:
    """Bands of dynamic MOE at 12 %, where boards of the study were tapped."""
    tapped = StiffnessReading.objects.filter(board__study=study, set_aside=False).exists()
    return [Colouring("stiffness", "Stiffness", _by_stiffness)] if tapped else []


def _by_stiffness(scene: EndScene) -> BoardColours:
    codes = {b.code for b in scene.placed}
    taps = tap_table(scene.study)
    known = latest_of_each(taps[taps["board"].isin(codes)])
    known = known[known["moe12_gpa"].notna()]
    if not len(known):
        return BoardColours(missing="None of these boards has a stiffness at 12 % moisture.")
    css = [grade_colour(at, len(BANDS_GPA) + 1) for at in range(len(BANDS_GPA) + 1)]
    found = {
        str(board): (css[sum(moe < limit for limit in BANDS_GPA)], f"{moe:.1f} GPa")
        for board, moe in zip(known["board"], known["moe12_gpa"], strict=True)
    }
    words = [
        f"{BANDS_GPA[0]:g} GPa and more",
        *(f"{b:g} to {a:g}" for a, b in pairwise(BANDS_GPA)),
        f"below {BANDS_GPA[-1]:g}",
    ]
    return BoardColours(found, (*zip(css, words, strict=True), ("", "not tapped")))
