"""Figures prepared for pages: rows of tables, cards, pictures. Computes nothing; every number comes from a result."""

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any
from urllib.parse import urlencode

from django.urls import reverse
from django.utils.html import format_html

from grading.links import boards_url
from grading.models import BoardGrade, RuleSet
from grading.queries import current_rule_sets
from portal.calc import shown
from portal.tables import Column
from reports.calc.figures import Figures
from reports.calc.recovery import RecoveryResult
from reports.calc.recovery_problems import FrameProblem
from sawing.calc.board_volume import SIZE_BASIS_TITLES
from sawing.links import board_url, log_url
from sawing.models import BoardState, Study
from trials.links import clone_url

NOUNS = {"logs": "log", "boards": "board", "grades": "grade", "trees": "tree", "prices": "price"}
HANGING = frozenset({"the code of a log in the logs file", "the code of a board in the boards file"})
"""What a board or grade is said to lack when only its log or board was left out."""


def rule_set_titles() -> dict[str, str]:
    """{code: title} of the current rule sets."""
    return {r.code: r.title for r in current_rule_sets()}


def table_titles(rule_sets: Iterable[RuleSet]) -> dict[str, str]:
    """{code: short title} of rule sets, for table heads."""
    found = list(rule_sets)
    purposes = {r.code: r.get_purpose_display().lower() for r in found}
    return short_titles({r.code: r.title for r in found}, purposes)


def concerns(study: Study, found: Sequence[FrameProblem]) -> list[dict[str, Any]]:
    """Problems or warnings of a study with the code they are about and its page.

    The frames of a study carry primary keys as their rows.
    """
    ids: dict[str, set[int]] = {}
    for p in found:
        if p.row is not None:
            ids.setdefault(p.frame, set()).add(p.row)
    logs = dict(study.logs.filter(pk__in=ids.get("logs", ())).values_list("pk", "code"))
    boards = dict(study.boards.filter(pk__in=ids.get("boards", ())).values_list("pk", "code"))
    graded = dict(BoardGrade.objects.filter(pk__in=ids.get("grades", ())).values_list("pk", "board__code"))
    shown_as = {
        "logs": ("Log", logs, log_url),
        "boards": ("Board", boards, board_url),
        "grades": ("Grade of board", graded, board_url),
    }
    rows = []
    hanging = Counter(p.frame for p in found if p.expected in HANGING)
    for p in found:
        if p.expected in HANGING:
            continue
        noun, codes, address = shown_as.get(p.frame, (p.frame.capitalize(), {}, None))
        code = codes.get(p.row)
        url = address(study, code) if code and address else ""
        rows.append({"what": noun, "code": code, "url": url, "found": p.found, "expected": p.expected})
    for frame, n in hanging.items():
        what = shown.counted(n, NOUNS.get(frame, frame))
        rows.append(
            {
                "what": what,
                "code": None,
                "found": "part of what is left out",
                "expected": "counted again with it",
            }
        )
    return rows


def left_out_words(problems: Sequence[FrameProblem]) -> str:
    """How much the figures leave out, for the top of the page; empty when nothing is."""
    counts = Counter(frame for frame, _ in {(p.frame, p.row) for p in problems})
    if not counts:
        return ""
    words = [shown.counted(counts[f], noun) or "" for f, noun in NOUNS.items() if counts[f]]
    return (
        f"Left out of the figures: {', '.join(words)}, for the reasons at the foot of this page."
        " The lists behind a figure still show them."
    )


def states(counts: dict[str, int]) -> list[tuple[str, int]]:
    """Board states that occur, in the order of a board's life."""
    return [(str(label), counts[value]) for value, label in BoardState.choices if counts.get(value)]


def currency(result: RecoveryResult) -> str:
    """The currency of the values; empty without prices."""
    return next((g.currency for g in result.total.graded.values() if g.currency), "") or ""


def waiting_words(n: int) -> str:
    """What to say when rows are held; empty when none are."""
    if not n:
        return ""
    verb = "is" if n == 1 else "are"
    return f"{shown.counted(n, 'row')} of this study's files {verb} held: the figures leave them out."


def balance_urls(study: Study) -> dict[str, str]:
    """Addresses of the rows behind the parts of a study's balance."""
    logs = reverse("sawing:logs", args=[study.trial.code, study.code])
    return {"boards": boards_url(study), "round wood": logs, "other": logs}


def graded_estimate(figures: Figures, rule_set: str) -> tuple[float | None, Any]:
    """Graded recovery with its interval: of the accepted grades where the rule set says which reject, else of all."""
    graded, ci = figures.graded[rule_set], figures.ci95
    if graded.accepted_recovery is not None:
        return graded.accepted_recovery, ci and ci.accepted_recovery.get(rule_set)
    return graded.graded_recovery, ci and ci.graded_recovery.get(rule_set)


def short_titles(titles: Mapping[str, str], purposes: Mapping[str, str]) -> dict[str, str]:
    """Names of rule sets for table heads: the purpose where only one set has it, else the title."""
    counts = Counter(purposes.values())
    return {c: purposes[c] if counts[purposes[c]] == 1 else t for c, t in titles.items()}


def link(name: str) -> Callable[[Mapping[str, Any]], str]:
    """A column's address, taken from a field of the row."""
    return lambda row: str(row[name])


def with_interval(name: str, kind: str) -> Callable[[Any, Mapping[str, Any]], Any]:
    """A column's cell: the estimate, and under it the interval kept in the row as `<name>_interval`."""

    def cell(value: Any, row: Mapping[str, Any]) -> Any:
        interval = row.get(f"{name}_interval")
        if kind == "percent":
            text = (shown.percent(value) or "").removesuffix("%").strip()
            bounds = shown.interval_percent(*interval) if interval else None
        else:
            text, bounds = shown.money(value, digits=0), shown.interval(*interval, 0) if interval else None
        if not text:
            return None
        return format_html('{}<span class="under">{}</span>', text, bounds or "no interval")

    return cell


def with_bounds(columns: list[Column]) -> list[Column]:
    """For a download: the bounds of each interval as columns of their own behind their estimate."""
    found = []
    for column in columns:
        found.append(column)
        if column.kind in ("percent", "money"):
            for end in ("low", "high"):
                found.append(Column(f"{column.name}_{end}", f"{column.label}, 95 % {end}", unit=column.unit))
    return found


def clone_row(study: Study, code: str, figures: Figures) -> dict[str, Any]:
    """One clone of a study as a table row; each estimate with its interval and its two bounds."""
    ci = figures.ci95
    row: dict[str, Any] = {
        "clone": code,
        "clone_url": reverse("reports:clone", args=[study.trial.code, code]),
        "boards_url": boards_url(study, clone=code),
        "logs_url": f"{reverse('sawing:logs', args=[study.trial.code, study.code])}?{urlencode({'f_clone': code})}",
        "trees": figures.trees,
        "logs": figures.logs,
        "boards": figures.boards,
        "log_volume_m3": figures.log_volume_m3,
        "green_volume_m3": figures.green_volume_m3,
    }
    estimates: dict[str, tuple[float | None, Any]] = {
        "green_recovery": (figures.green_recovery, ci and ci.green_recovery),
        "best_value": (figures.best_use.value_per_m3_log, ci and ci.best_use_value_per_m3_log),
    }
    for name, graded in figures.graded.items():
        estimates[f"graded_{name}"] = graded_estimate(figures, name)
        estimates[f"value_{name}"] = (graded.value_per_m3_log, ci and ci.value_per_m3_log.get(name))
    for name, (value, interval) in estimates.items():
        low, high = interval or (None, None)
        row |= {name: value, f"{name}_interval": interval, f"{name}_low": low, f"{name}_high": high}
    return row


def trial_clone_row(clone: Any, found: tuple[Study, Figures] | None) -> dict[str, Any]:
    """One clone of a trial as a table row, with its latest study's green recovery where it was sawn."""
    row: dict[str, Any] = {
        "code": clone.code,
        "url": clone_url(clone),
        "name": clone.name,
        "kind": clone.get_kind_display(),
        "seed_parent": clone.seed_parent,
        "pollen_parent": clone.pollen_parent,
        "n_trees": clone.n_trees,
        "n_sites": clone.n_sites,
        "sawn_trees": None,
        "green_recovery": None,
        "green_recovery_interval": None,
        "boards_url": "",
    }
    if found:
        study, figures = found
        row |= {k: v for k, v in clone_row(study, clone.code, figures).items() if k in row}
        row["sawn_trees"] = figures.trees
    return row


def clone_cards(
    study: Study, code: str, result: RecoveryResult, titles: dict[str, str]
) -> list[dict[str, Any]]:
    """The figures of a clone, each with its interval and the address of the rows behind it."""
    figures = result.by_clone[code]
    ci, money = figures.ci95, currency(result)
    rows = boards_url(study, clone=code)
    basis = SIZE_BASIS_TITLES[result.size_basis]
    cards = [
        _card(
            f"Green recovery, {basis}", figures.green_recovery, ci and ci.green_recovery, figures.boards, rows
        )
    ]
    for name, graded in figures.graded.items():
        title = titles.get(name, name)
        value, interval = graded_estimate(figures, name)
        accepted = "accepted grades" if graded.accepted_recovery is not None else "all grades"
        card = _card(f"Graded recovery, {accepted}, {title}", value, interval, graded.graded_boards, rows)
        cards.append(card)
    for name, graded in figures.graded.items():
        if graded.value_per_m3_log is not None:
            interval = ci and ci.value_per_m3_log.get(name)
            card = _card(
                f"Value, {titles.get(name, name)}",
                graded.value_per_m3_log,
                interval,
                graded.graded_boards,
                rows,
            )
            cards.append({**card, "kind": "money", "unit": money, "note": "per m³ log", "digits": 0})
    if figures.best_use.value_per_m3_log is not None:
        card = _card(
            "Value, best use of each board",
            figures.best_use.value_per_m3_log,
            ci and ci.best_use_value_per_m3_log,
            figures.boards,
            rows,
        )
        cards.append({**card, "kind": "money", "unit": money, "note": "per m³ log", "digits": 0})
    return cards


def tree_rows(study: Study, code: str, result: RecoveryResult) -> list[dict[str, Any]]:
    """The trees of a clone with their figures."""
    return [
        {
            "code": tree,
            "url": reverse("trials:tree", args=[study.trial.code, tree]),
            "boards_url": boards_url(study, tree=tree),
            "figures": f,
            "recovery": None if f.green_recovery is None else 100 * f.green_recovery,
        }
        for tree, f in result.by_tree.items()
        if f.clone == code
    ]


def _card(label: str, value: float | None, interval: Any, boards: int, rows: str) -> dict[str, Any]:
    low, high = interval if interval else (None, None)
    return {
        "label": label,
        "value": value,
        "low": low,
        "high": high,
        "boards": boards,
        "rows": rows,
        "kind": "percent",
        "unit": "",
        "note": "",
        "digits": None,
    }
