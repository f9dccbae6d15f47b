"""Writes of planning: duties, stem records, logs typed on a tablet and their corrections."""

from collections.abc import Mapping
from typing import Any

import pandas as pd
from django.core.exceptions import PermissionDenied
from django.db import transaction

from portal import access
from portal.calc.file_checks import check_rows
from portal.calc.file_spec import Problem
from portal.models import Role, User
from portal.uploads.bulk import python_values
from portal.uploads.examine import examine_rows
from portal.uploads.registry import Target, UploadKind, kind_named
from sawing.actions import fell_trees
from sawing.calc.stem_checks import Doubt, stem_doubts, stem_record_doubts
from sawing.models import Duty, Felling, Log, Study
from sawing.planning.queries import stem_logs, tree_facts
from sawing.queries import LOG_NUMBERS
from trials.models import Tree

FELLERS = frozenset({Role.FIELD_CREW, Role.MILL, Role.MANAGER})
ENTERED = "entry"  # stands for the file's name in the machine's problems


class LogRefusedError(Exception):
    """Measures that cannot be stored; `problems` name the columns."""

    def __init__(self, problems: list[Problem]) -> None:
        super().__init__("; ".join(f"{p.column}: expected {p.expected}" for p in problems))
        self.problems = problems


class AskedError(Exception):
    """Values that are odd but can be true; stored only when said to be right (`sure`). `doubts`: the questions."""

    def __init__(self, doubts: list[str]) -> None:
        super().__init__("; ".join(doubts))
        self.doubts = doubts


# Duties --------------------------------------------------------------------------------------------


def add_duty(
    *, study: Study, by: User, stage: str, person: User | None = None, name: str = "", **more: Any
) -> Duty:
    """Say who answers for a stage of a study: a person of the trial, or a name. Managers only."""
    access.require(by, study.trial_id, [Role.MANAGER])
    if person is not None and access.roles_in(person, study.trial_id).isdisjoint(access.INSIDE):
        raise PermissionDenied("Only people of the trial can answer for a stage; give them a role first.")
    with transaction.atomic():
        return Duty.objects.create(study=study, stage=stage, person=person, name=name, **more)


def end_duty(*, duty: Duty, by: User) -> Duty:
    """A person no longer answers for a stage; the duty stays on record. Managers only."""
    access.require(by, duty.study.trial_id, [Role.MANAGER])
    with transaction.atomic():
        duty = Duty.objects.select_for_update().get(pk=duty.pk)
        duty.active = False
        duty.save()
        return duty


# Stems ---------------------------------------------------------------------------------------------


def record_stem(*, study: Study, tree: Tree, by: User, sure: bool = False, **fields: Any) -> Felling:
    """Note the felling of a tree for a study, or change what was noted; earlier values stay in the history.

    :param fields: felled_on, felled_by, stem_length_m, stump_m, north_marked, note.
    :raises PermissionDenied: the tree was felled for another study.
    :raises AskedError: odd values, unless `sure`.
    """
    access.require(by, study.trial_id, FELLERS)
    with transaction.atomic():
        study = _locked(study)
        if Felling.objects.filter(tree=tree).exclude(study=study).exists():
            raise PermissionDenied(f"Tree {tree.code} was felled for another study.")
        if not sure:
            _ask_about_stem(study, tree, fields)
        fell_trees(study, [tree.pk])
        felling = Felling.objects.select_for_update().get(study=study, tree=tree)
        for name, value in fields.items():
            setattr(felling, name, value)
        felling.save()
        return felling


def _ask_about_stem(study: Study, tree: Tree, fields: Mapping[str, Any]) -> None:
    facts = tree_facts(study, [tree.code])
    logs = stem_logs(study, [tree.code])
    given = facts.assign(
        stem_length_m=_float(fields.get("stem_length_m")), stump_m=_float(fields.get("stump_m"))
    )
    words = stem_record_doubts(
        _float(fields.get("stem_length_m")), _float(fields.get("stump_m")), float(facts["height_m"].iloc[0])
    )
    planted = tree.planted_on or tree.site.planted_on
    if planted and fields.get("felled_on") and fields["felled_on"] <= planted:
        words.append(f"felled on {fields['felled_on']}, but planted on {planted}")
    if tree.status in ("dead", "missing"):
        words.append(f"the tree is on record as {tree.status}")
    height = study.trial.breast_height_m
    words += _news(stem_doubts(logs, facts, height), stem_doubts(logs, given, height))
    if words:
        raise AskedError(words)


# Logs ----------------------------------------------------------------------------------------------


def enter_log(*, study: Study, values: Mapping[str, str], by: User, sure: bool = False) -> Log:
    """Store one log as it was typed, by the same checks as an uploaded file; its tree becomes felled.

    The same log sent again changes nothing.

    :param values: {column of the logs file: text}.
    :raises LogRefusedError: a value that cannot be, a code taken by another log.
    :raises AskedError: it does not fit its stem, unless `sure`.
    """
    with transaction.atomic():
        study, target, kind = _door(study, by)
        outcome = examine_rows(kind, target, {1: dict(values)}, ENTERED)
        code = str(values.get("log", "")).strip()
        elsewhere = study.logs.filter(code=code).exclude(felling__tree__code=values.get("tree"))
        if len(outcome.differs) or elsewhere.exists():
            expected = "a code that is free; the measures of a stored log are corrected on its own page"
            raise LogRefusedError([Problem(ENTERED, 1, "log", f"{code}, stored with other values", expected)])
        if outcome.held or outcome.unreadable:
            raise LogRefusedError(outcome.problems)
        if len(outcome.new):
            _ask_about_log(study, outcome.new, sure)
            kind.insert(target, outcome.new, None)  # type: ignore[arg-type]
        return study.logs.get(code=code)


def change_log(*, log: Log, values: Mapping[str, str], by: User, sure: bool = False) -> Log:
    """Correct the measures of a log; what is left empty is taken as not measured. Earlier values stay in the history.

    :param values: {column of the logs file: text}, without log and tree, which stay.
    :raises LogRefusedError: a value that cannot be, or a log smaller than its boards.
    :raises AskedError: it does not fit its stem any more, unless `sure`.
    """
    with transaction.atomic():
        study, target, kind = _door(log.study, by)
        log = study.logs.select_for_update(of=("self",)).select_related("felling__tree").get(pk=log.pk)
        row = {**values, "log": log.code, "tree": log.felling.tree.code, "_row": 1}
        known = kind.known(target)
        checked = check_rows([row], ENTERED, kind.file, known)
        problems = list(checked.problems)
        if not problems and kind.check is not None:
            problems = kind.check(target, checked.accepted, known, ENTERED)
        if problems:
            raise LogRefusedError(problems)
        _ask_about_log(study, checked.accepted, sure)
        for name in (*LOG_NUMBERS, "sections_mm", "bark"):
            setattr(log, name, python_values(checked.accepted[name], 1)[0])
        log.bark = log.bark or "under"
        log.save()
        return log


def _door(study: Study, by: User) -> tuple[Study, Target, UploadKind]:
    """The study under its lock and the machine's view of its logs, for those who may bring them."""
    kind = kind_named("logs")
    access.require(by, study.trial_id, kind.roles)
    study = _locked(study)
    target = Target(study.trial, study)
    return study, target, kind.at(target)


def _locked(study: Study) -> Study:
    """One writer at a time into a study, uploads included."""
    return Study.objects.select_for_update(no_key=True, of=("self",)).select_related("trial").get(pk=study.pk)


def _ask_about_log(study: Study, row: pd.DataFrame, sure: bool) -> None:
    """Ask about what this log brings along its stem that was not odd before."""
    if sure:
        return
    code, tree = str(row["log"].iloc[0]), str(row["tree"].iloc[0])
    facts, stored, height = tree_facts(study, [tree]), stem_logs(study, [tree]), study.trial.breast_height_m
    others = stored[stored["log"] != code]
    mine = row[list(stored.columns)]
    together = pd.concat([others, mine], ignore_index=True) if len(others) else mine
    words = _news(stem_doubts(stored, facts, height), stem_doubts(together, facts, height), code)
    if words:
        raise AskedError(words)


def _news(before: list[Doubt], after: list[Doubt], own: str = "") -> list[str]:
    """The doubts that were none before, in words; those of other logs than `own` begin with the log's code."""
    return [d.words if d.log in (None, own) else f"log {d.log}: {d.words}" for d in after if d not in before]


def _float(value: Any) -> float:
    return float("nan") if value is None else float(value)
