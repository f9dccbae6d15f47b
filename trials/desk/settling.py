"""Which findings of the checks were looked at, and what closing an assessment leaves undone."""

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from trials.calc.findings import DBH, HEIGHT, Finding
from trials.desk import measured, progress
from trials.desk.checking import SEVERITY, Checked, checked
from trials.models import Assessment, EntryKind, SettledCheck

OF_BOTH = frozenset({"below_breast_height", "slenderness", "height_band", "curve_outlier"})
OF_LIFE = frozenset({"alive_again", "dead_grew"})
STATES = "state"  # dead, missing, skipped: entries without a trait
Told = Mapping[tuple[str, str], list[str]]
"""Ids of the entries that stand, by tree and column (or STATES)."""


@dataclass(frozen=True)
class Asked:
    """A finding with its fingerprint, and the tick of who looked at it, or None."""

    finding: Finding
    fingerprint: str
    settled: SettledCheck | None


@dataclass(frozen=True)
class CheckList:
    """The findings of an assessment, those to look at first, each part gravest first."""

    checked: Checked
    asked: tuple[Asked, ...]

    @property
    def n_settled(self) -> int:
        return sum(a.settled is not None for a in self.asked)

    @property
    def open(self) -> list[Asked]:
        return [a for a in self.asked if a.settled is None]


def check_list(assessment: Assessment) -> CheckList:
    """Every finding with its tick. A tick holds while the entries under the finding are the same."""
    found = checked(assessment)
    told = [_told(a) for a in (assessment, found.before) if a is not None]
    settled = {s.fingerprint: s for s in assessment.settled_checks.select_related("by")}
    asked = []
    for finding in found.findings:
        mark = fingerprint(finding, told)
        asked.append(Asked(finding, mark, settled.get(mark)))
    return CheckList(found, tuple(sorted(asked, key=lambda a: a.settled is not None)))


def fingerprint(finding: Finding, told: Iterable[Told]) -> str:
    """What makes a finding the same one: its check, its trait, its trees, and the entries it is about.

    Changed, corrected, set aside or replaced entries are other entries; those of other traits, and of trees that
    the finding does not name, do not matter.
    """
    trees = sorted(str(label) for label in finding.rows)
    columns = {finding.column}
    if finding.check in OF_BOTH:
        columns |= {DBH.column, HEIGHT.column}
    if finding.check in OF_LIFE:
        columns |= {STATES}
    entries = [
        [sorted(visit.get((tree, column), [])) for tree in trees for column in sorted(columns)]
        for visit in told
    ]
    text = json.dumps([finding.check, finding.column, trees, entries])
    return hashlib.sha256(text.encode()).hexdigest()


def _told(assessment: Assessment) -> Told:
    columns = {t.pk: measured.column_of(t) for t in measured.trait_list(assessment)}
    told: dict[tuple[str, str], list[str]] = {}
    rows = measured.standing_entries(assessment).values_list("tree__code", "trait_id", "kind", "client_id")
    for tree, trait, kind, identity in rows:
        if kind == EntryKind.VALUE:
            told.setdefault((tree, columns.get(trait, "")), []).append(str(identity))
        elif kind in measured.GONE:
            told.setdefault((tree, STATES), []).append(str(identity))
    return told


@dataclass(frozen=True)
class Closing:
    """What stands against closing (`refused`: it cannot be closed), and what is undone (`undone`, a line each)."""

    refused: str
    undone: tuple[str, ...]

    @property
    def statement(self) -> str:
        """The lines as one text, kept with the closed assessment; "" where nothing is undone."""
        return " ".join(f"{line}." for line in self.undone)


def closing(assessment: Assessment) -> Closing:
    """What a manager is told before an assessment is closed."""
    asked = check_list(assessment)
    far = progress.progress_of(assessment)
    undone = []
    if asked.open:
        grave = {s: sum(a.finding.severity == s for a in asked.open) for s in SEVERITY}
        told = ", ".join(f"{n} {SEVERITY[s].lower()}" for s, n in grave.items() if n)
        undone.append(
            f"{len(asked.open)} of {len(asked.asked)} findings of the checks not looked at ({told})"
        )
    if far.done < far.trees:
        undone.append(f"{far.trees - far.done} of {far.trees} standing trees not done")
    waiting = progress.n_waiting(assessment)
    refused = f"{waiting} entries wait for a decision" if waiting else ""
    return Closing(refused, tuple(undone))
