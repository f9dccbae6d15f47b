"""Reading fellings, duties and stages of a study, and what does not fit along its stems."""

from collections.abc import Iterable
from typing import Any

import pandas as pd
from django.db.models import BooleanField, Case, Count, Exists, OuterRef, Q, QuerySet, Sum, Value, When
from django.shortcuts import get_object_or_404

from portal import access
from portal.models import Membership, User
from portal.uploads.frames import frame
from sawing.calc.picture_progress import StageBar
from sawing.calc.stem_checks import Doubt, stem_doubts
from sawing.models import Board, Duty, Felling, LabelSheet, Log, StackPlacing, Stage, Study
from sawing.queries import LOG_FIELDS, LOG_NUMBERS, boards_of, logs_of, study_for
from trials.models import Entry, EntryKind, Standing, Tree

DIAMETER, HEIGHT = "dbh_mm", "height_m"  # codes of the traits that hold them
AFTER_GRADING = ("graded", "available", "reserved", "released", "consumed", "returned")
PIECES = {"felled": "tree", "logged": "tree", "labelled": "log", "sawn": "log"}  # the other stages: boards


def fellings_of(study: Study) -> QuerySet[Felling]:
    """The felled trees of a study with their number of logs and the length in logs."""
    return study.fellings.select_related("study__trial", "tree__clone", "tree__site").annotate(
        n_logs=Count("logs"), logs_m=Sum("logs__length_m")
    )


def felling_for(user: User, trial: str, study: str, code: str) -> Felling:
    """The felling of a tree for a study, or 404."""
    return get_object_or_404(fellings_of(study_for(user, trial, study)), tree__code=code)


def tree_of(study: Study, code: str) -> Tree:
    """A tree of the study's trial, or 404."""
    trees = study.trial.trees.select_related("trial", "clone", "site", "plot__block")
    return get_object_or_404(trees, code=code)


def tree_found(study: Study, typed: str) -> Tree | None:
    """The tree meant by what was typed or scanned; capital letters and blanks do not matter where one tree is left."""
    text = "".join(typed.split())
    exact = study.trial.trees.filter(code=typed.strip()).first()
    alike = list(study.trial.trees.filter(code__iexact=text)[:2])
    return exact or (alike[0] if len(alike) == 1 else None)


def tree_facts(study: Study, codes: Iterable[str] | None = None) -> pd.DataFrame:
    """What is known of trees, for checking stems: tree, stem_length_m, stump_m, height_m, dbh_mm (the latest two).

    :param codes: of any trees of the trial; None means those felled for the study.
    """
    felled = Felling.objects.filter(study=study)
    if codes is not None:
        felled = felled.filter(tree__code__in=list(codes))
    facts = frame(felled, {"tree": "tree__code", "stem_length_m": "stem_length_m", "stump_m": "stump_m"})
    if codes is not None:  # trees that are not felled yet too
        facts = pd.DataFrame({"tree": list(codes)}).merge(facts, on="tree", how="left")
    latest = (
        Entry.objects.filter(
            tree__trial=study.trial_id,
            tree__code__in=facts["tree"].tolist(),
            trait__code__in=[DIAMETER, HEIGHT],
            kind=EntryKind.VALUE,
            standing=Standing.CURRENT,
            number__isnull=False,
        )
        .order_by("tree_id", "trait__code", "-assessment__measured_from", "-assessment_id")
        .distinct("tree_id", "trait__code")
        .values_list("trait__code", "tree__code", "number")
    )
    values = {(trait, tree): number for trait, tree, number in latest}
    for trait in (HEIGHT, DIAMETER):
        facts[trait] = [values.get((trait, tree)) for tree in facts["tree"]]
    return facts.astype(dict.fromkeys(("stem_length_m", "stump_m", HEIGHT, DIAMETER), float))


def stem_logs(study: Study, codes: Iterable[str] | None = None) -> pd.DataFrame:
    """The logs of some trees, or of all felled ones, in the columns of the logs file."""
    logs = study.logs.all()
    if codes is not None:
        logs = logs.filter(felling__tree__code__in=list(codes))
    return frame(logs.order_by("code"), LOG_FIELDS).astype(dict.fromkeys(LOG_NUMBERS, float))


def doubts_of(study: Study, codes: Iterable[str] | None = None) -> list[Doubt]:
    """What does not fit along the stems of some trees, or of all of a study."""
    wanted = None if codes is None else list(codes)
    logs = stem_logs(study, wanted)
    facts = tree_facts(study, wanted) if len(logs) else None
    return stem_doubts(logs, facts, study.trial.breast_height_m)


def duties_of(study: Study) -> list[Duty]:
    """Who answers for which stage today, in the order of the stages."""
    order = list(Stage.values)
    found = study.duties.filter(active=True).select_related("person")
    return sorted(found, key=lambda duty: (order.index(duty.stage), duty.pk))


def people_of(study: Study) -> QuerySet[User]:
    """People with a role that sees the inside of the study's trial."""
    members = Membership.objects.filter(trial=study.trial_id, active=True, role__in=access.INSIDE)
    return User.objects.filter(pk__in=members.values("user"), is_active=True).order_by("username")


# Stages --------------------------------------------------------------------------------------------


def _flag(condition: Any) -> Case:
    return Case(When(condition, then=Value(True)), default=Value(False), output_field=BooleanField())


def _placings(**more: Any) -> Exists:
    return Exists(StackPlacing.objects.filter(board=OuterRef("pk"), **more))


def trees_by_stage(study: Study) -> QuerySet[Felling]:
    """Felled trees, each with `felled` (its day is known) and `logged` (it has logs)."""
    return study.fellings.annotate(
        felled=_flag(Q(felled_on__isnull=False)), logged=Exists(Log.objects.filter(felling=OuterRef("pk")))
    )


def logs_by_stage(study: Study) -> QuerySet[Log]:
    """Logs, each with `labelled` (it has a sheet in use) and `sawn` (it has boards)."""
    sheets = LabelSheet.objects.filter(serial__log=OuterRef("pk"), serial__retired_at__isnull=True)
    return study.logs.annotate(labelled=Exists(sheets), sawn=Exists(Board.objects.filter(log=OuterRef("pk"))))


def boards_by_stage(study: Study) -> QuerySet[Board]:
    """Boards, each with `stacked`, `dried` and `graded`: what was done to it, whatever state it is in today.

    Dried: taken dry out of a stack, said to be dry, or measured dry.
    """
    dry = Q(state="dry") | Q(dry_width_mm__isnull=False)
    return study.boards.annotate(
        stacked=_flag(Q(state="in_stack") | Q(_placings(taken_why=""))),
        dried=_flag(dry | (Q(_placings(taken_why="")) & ~Q(_placings(taken_on__isnull=True)))),
        graded=_flag(Q(state__in=AFTER_GRADING)),
    )


def stage_counts(study: Study) -> dict[str, tuple[int, int]]:
    """{stage: (done, of)} in the order of the stages; trees, logs or boards as the stage has it (PIECES)."""
    sets = (
        (trees_by_stage(study), ("felled", "logged")),
        (logs_by_stage(study), ("labelled", "sawn")),
        (boards_by_stage(study), ("stacked", "dried", "graded")),
    )
    counts: dict[str, tuple[int, int]] = {}
    for rows, stages in sets:
        found = rows.aggregate(
            n_all=Count("pk"), **{f"n_{stage}": Count("pk", filter=Q(**{stage: True})) for stage in stages}
        )
        counts |= {stage: (found[f"n_{stage}"], found["n_all"]) for stage in stages}
    return counts


def stage_bars(study: Study, url: Any) -> list[StageBar]:
    """The stages for their picture; `url(stage, "done" or "missing")` gives the page with the rows."""
    return [
        StageBar(
            str(Stage(stage).label),
            PIECES.get(stage, "board"),
            done,
            of,
            url(stage, "done"),
            url(stage, "missing"),
        )
        for stage, (done, of) in stage_counts(study).items()
    ]


def stage_rows(study: Study, stage: str, done: bool) -> QuerySet[Any]:
    """The trees, logs or boards with which a stage is done, or those it misses."""
    piece = PIECES.get(stage, "board")
    if piece == "tree":
        keys = trees_by_stage(study).filter(**{stage: done}).values("pk")
        return fellings_of(study).filter(pk__in=keys)
    if piece == "log":
        return logs_of(study).filter(pk__in=logs_by_stage(study).filter(**{stage: done}).values("pk"))
    return boards_of(study).filter(pk__in=boards_by_stage(study).filter(**{stage: done}).values("pk"))
