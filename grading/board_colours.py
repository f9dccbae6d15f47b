"""Grades as colours of boards on a log end, one way of colouring a rule set."""

from functools import partial

from grading.models import BoardGrade, Grade, RuleSet
from portal.templatetags.parts_numbers import grade_colour
from sawing.board_colours import BoardColours, Colouring
from sawing.end_places import EndScene
from sawing.models import Study


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
