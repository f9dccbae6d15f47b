"""The out-turn of a study by one rule set: grades by group, reasons, losses, and another rule set beside it."""

from functools import partial
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from grading.calc.grading_files import cautions_of
from grading.calc.out_turn_tables import Group, cross, groups, losses, pareto
from grading.calc.picture_out_turn import Bar, Share, out_turn
from grading.calc.picture_pareto import pareto_picture
from grading.gradable import rules_of
from grading.links import boards_url
from grading.models import RuleSet
from grading.outturn import queries
from grading.queries import rule_sets_in_use
from portal.calc.svg import NARROW, WIDE
from portal.tables import Column, Table
from portal.templatetags.parts_numbers import grade_colour
from sawing.models import Study
from sawing.queries import study_for

LINKED = ("clone", "tree")
MOST_BARS = 24


@require_GET
def page(request: HttpRequest, trial: str, study: str) -> HttpResponse:
    """What came out, by the rule set and the grouping in the address; a word nobody knows falls back to the first."""
    found = study_for(request.user, trial, study)
    rule_sets = list(rule_sets_in_use(found))
    context: dict[str, Any] = {"study": found, "trial": found.trial, "rule_sets": rule_sets}
    if not rule_sets:
        return render(request, "grading/outturn/out_turn.html", context)
    rule_set = next((r for r in rule_sets if r.code == request.GET.get("rules")), rule_sets[0])
    rules = rules_of(rule_set)
    by = request.GET.get("by") if request.GET.get("by") in queries.GROUPINGS else "clone"
    grades = list(rule_set.grades.all())
    order = [g.code for g in grades]
    rejects = [g.code for g in grades if g.reject]
    accepting = [g for g in order if g not in rejects]
    better = request.GET.get("to") if request.GET.get("to") in accepting else accepting[0]
    table = queries.graded(found, rule_set)
    listed = groups(queries.grouped_by(found, table, str(by)), "group", order, str(better), rejects=rejects)
    rows = Table(
        request,
        rows=[_row(found, g, str(by), accepting) for g in listed],
        columns=_columns(str(by), grades, str(better)),
        what="group",
        order="" if by in ("radial", "width") else "name",
        file_name=f"{found.code}_{rule_set.code}_by_{by}",
    )
    if rows.asked_for_download:
        return rows.download()
    below = order[order.index(str(better)) + 1 :]
    context |= {
        "rule_set": rule_set,
        "cautions": [*(cautions_of(rules) if rules else ["C5"]), "C11"],
        "by": by,
        "by_word": queries.GROUPINGS[str(by)],
        "better": better,
        "accepting": accepting,
        "groupings": queries.GROUPINGS.items(),
        "table": rows,
        "n_boards": len(table),
        "pictures": _pictures(listed[:MOST_BARS], rule_set, grades),
        "left_out": max(0, len(listed) - MOST_BARS),
        "pareto": _pareto(table, below, rule_set, str(better)),
        "below": below,
        "losses": [{**r, "kind": r["kind"].replace("_", " ")} for r in losses(table)],
        "cross": _cross(found, table, rule_set, rule_sets, order),
    }
    return render(request, "grading/outturn/out_turn.html", context)


def _row(study: Study, group: Group, by: str, accepting: list[str]) -> dict[str, Any]:
    low, high = group.interval or (None, None)
    return {
        "name": group.name,
        "boards": group.boards,
        "trees": group.trees,
        "volume_m3": group.volume_m3,
        "better": group.better,
        "low": low,
        "high": high,
        "note": group.note,
        "url": boards_url(study, **{by: group.name}) if by in LINKED else "",
        **{f"share_{i}": group.share(g) for i, g in enumerate(accepting)},
    }


def _columns(by: str, grades: list[Any], better: str) -> list[Column]:
    accepting = [g for g in grades if not g.reject]
    return [
        Column(
            "name",
            queries.GROUPINGS[by],
            kind="code" if by in LINKED else "text",
            key=True,
            url=lambda r: r["url"],
        ),
        Column("trees", "Trees", kind="integer", key=True),
        Column("boards", "Boards", kind="integer"),
        Column("volume_m3", "Graded", kind="cubic_metres", digits=3),
        Column("better", f"{better} or better", kind="percent", key=True),
        Column("low", "from", kind="percent", help="95 % interval by resampling trees"),
        Column("high", "to", kind="percent", help="95 % interval by resampling trees"),
        *(Column(f"share_{i}", g.code, kind="percent") for i, g in enumerate(accepting)),
        Column("note", "Caution"),
    ]


def _pictures(listed: list[Group], rule_set: RuleSet, grades: list[Any]) -> tuple[str, str]:
    css = {g.code: grade_colour(i, len(grades), g.reject) for i, g in enumerate(grades)}
    bars = [
        Bar(g.name, [Share(code, g.share(code), style) for code, style in css.items()], g.trees, g.boards)
        for g in listed
    ]
    draw = partial(
        out_turn,
        bars,
        title=f"{rule_set.title}: which grades?",
        note="shares of the volume of all graded pieces",
    )
    return draw(name="groups-wide", width=WIDE), draw(name="groups-narrow", width=NARROW)


def _pareto(table: Any, below: list[str], rule_set: RuleSet, better: str) -> dict[str, Any] | None:
    rows = [{**r, "kind": r["kind"].replace("_", " ")} for r in pareto(table, below)] if len(table) else []
    if not rows:
        return None
    draw = partial(
        pareto_picture,
        rows,
        title=f"What keeps boards below {better}?",
        note=f"{sum(r['boards'] for r in rows)} boards, each counted by what decided its grade",
    )
    return {
        "rows": rows,
        "wide": draw(name="pareto-wide", width=WIDE),
        "narrow": draw(name="pareto-narrow", width=NARROW),
    }


def _cross(
    study: Study, table: Any, rule_set: RuleSet, rule_sets: list[RuleSet], order: list[str]
) -> dict[str, Any] | None:
    """This rule set against the first other one, appearance against structural where there is one of each."""
    others = [r for r in rule_sets if r.pk != rule_set.pk]
    if not others or not len(table):
        return None
    other = next((r for r in others if r.purpose != rule_set.purpose), others[0])
    columns = [g.code for g in other.grades.all()]
    rows = cross(table, queries.graded(study, other), order, columns)
    for row in rows:
        for cell in row["cells"]:
            filters = {f"grade_{rule_set.code}": row["grade"], f"grade_{other.code}": cell["grade"]}
            cell["url"] = boards_url(study, **filters)
    return {"other": other, "columns": columns, "rows": rows}
