"""Checks of an assessment: its values with those of the visit before, through trials.calc."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from trials.calc.entry_patterns import check_visit
from trials.calc.findings import DBH, HEIGHT, Finding, TraitRule
from trials.calc.height_curves import CurveRefusedError, HeightCurve, fit_height_curve
from trials.desk import measured
from trials.models import Assessment, Trait, TraitKind

BY_CODE = {rule.column: rule for rule in (DBH, HEIGHT)}
WORDS = {
    "limits": "Beyond the limits",
    "shrank": "Shrank",
    "grew": "Grew too fast",
    "circumference": "Circumference typed",
    "circumference_last": "Circumference typed last time",
    "factor_ten": "Ten times off",
    "transposed": "Digits changed places",
    "below_breast_height": "Below breast height",
    "slenderness": "Height against diameter",
    "height_band": "Height against diameter",
    "alive_again": "Alive again",
    "dead_grew": "Dead and grew",
    "duplicate": "Entered twice",
    "sequence": "Row out of step",
    "digits": "Favourite digits",
    "outlier": "Apart from its plot",
    "curve_outlier": "Apart from the height curve",
}
SEVERITY = {"high": "Cannot be true", "middle": "Doubtful", "low": "Worth a look"}
MOST_LISTED = 12  # trees named in a line; the rest are counted


@dataclass(frozen=True)
class Checked:
    """What the checks found, with the visit the values were compared with."""

    findings: list[Finding]
    frame: pd.DataFrame
    before: Assessment | None
    rules: list[TraitRule]


def rule_of(trait: Trait) -> TraitRule:
    """What the checks know of a numeric trait. Limits are the dictionary's; what a diameter or a height may lose
    and gain between visits is trials.calc's."""
    known = BY_CODE.get(trait.code)
    step = 10.0**-trait.decimals
    return TraitRule(
        measured.column_of(trait),
        known.name if known else trait.name.lower(),
        trait.unit,
        step,
        trait.minimum,
        trait.maximum,
        None if trait.shrinks else known.most_loss if known else step,
        known.most_gain_per_year if known else None,
        bool(known and known.is_girth_prone),
    )


def checked(assessment: Assessment) -> Checked:
    """Every check on the values that stand in an assessment, gravest finding first."""
    now = measured.visit_frame(assessment)
    before = measured.visit_before(assessment)
    curve = None
    if before is not None:
        last = measured.visit_frame(before)
        now = measured.with_last_values(now, last, measured.years_between(before, assessment))
        curve = _curve(last, assessment.site.trial.breast_height_m)
    traits = measured.trait_list(assessment)
    rules = [rule_of(t) for t in traits if t.kind == TraitKind.NUMBER]
    findings = check_visit(now, rules, curve, ("block", "plot")) if len(now) else []
    return Checked(findings, now, before, rules)


def _curve(visit: pd.DataFrame, breast_height_m: float) -> HeightCurve | None:
    """The height curve of the visit before; None where it has none."""
    if not {DBH.column, HEIGHT.column} <= set(visit.columns):
        return None
    try:
        return fit_height_curve(
            visit[DBH.column], visit[HEIGHT.column], breast_height_m=breast_height_m, group="visit before"
        )
    except CurveRefusedError:
        return None


def listed(found: Checked, findings: Sequence[Finding], traits: list[Trait]) -> list[dict[str, Any]]:
    """Findings as rows of a table: severity, check, trees, place, trait, why, what may have been meant."""
    names = {measured.column_of(t): t for t in traits}
    rows = []
    for place, finding in enumerate(findings):
        trees = [str(label) for label in finding.rows]
        first = found.frame.loc[trees[0]] if trees else None
        trait = names.get(finding.column)
        rows.append(
            {
                "number": place + 1,
                "severity": SEVERITY[finding.severity],
                "check": WORDS.get(finding.check, finding.check.replace("_", " ").capitalize()),
                "tree": trees[0] if trees else "",
                "trees": trees[0] if len(trees) == 1 else _several(trees),
                "n_trees": len(trees),
                "row": None if first is None else int(first["row"]),
                "col": None if first is None else int(first["col"]),
                "trait": trait.name if trait else "",
                "trait_id": trait.pk if trait else None,
                "why": finding.text,
                "meant": finding.suggestion,
                "crew": None if first is None else first["crew"],
                "confirmed": "yes" if first is not None and len(trees) == 1 and first["confirmed"] else "",
            }
        )
    return rows


def _several(trees: list[str]) -> str:
    more = len(trees) - MOST_LISTED
    return ", ".join(trees[:MOST_LISTED]) + (f" and {more} more" if more > 0 else "")
