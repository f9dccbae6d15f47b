"""The job that grades the boards of a study anew."""

import hashlib
from collections.abc import Sequence
from typing import Any

import pandas as pd

from grading.calc.best_piece import GradingOptions, NotGradable, grade_boards
from grading.calc.graded_boards import GradedBoard
from grading.calc.rule_limits import GradingRules
from grading.gradable import feature_frame, gradable_boards, rules_of, with_heartwood
from grading.models import BoardGrade, Regrade
from grading.rules.regrade_actions import store_regrade
from portal.jobs.registry import JobRefused, Progress

KIND = "regrade"
EXPLAINED = 5_000
"""With more boards than this, what decides is worked out only for those that moved."""


def run_regrade(parameters: dict[str, Any], progress: Progress) -> dict[str, Any] | None:
    """Grade and store. Begun twice, it only does the same again."""
    regrade = Regrade.objects.select_related("study__trial", "rule_set", "against", "by").get(
        pk=parameters["regrade"]
    )
    rules = rules_of(regrade.rule_set)
    if rules is None:
        raise JobRefused(f"{regrade.rule_set} has no rules to grade by.")
    study = regrade.study
    progress(0, 1, "Reading boards and features")
    boards, features = gradable_boards(study.boards.all()), feature_frame(study.boards.all())
    if not len(boards):
        raise JobRefused("The study has no boards.")
    options = GradingOptions(
        mode="value" if regrade.options.get("by") == "value" else "grade",
        assessed=tuple(regrade.options.get("assessed", [])),
        heartwood_only=bool(regrade.options.get("heartwood_only")),
        explain=len(boards) <= EXPLAINED,
    )
    if options.heartwood_only:
        boards = with_heartwood(study, boards)
    try:
        answers = grade_boards(
            boards, features, rules, options=options, progress=lambda n, total: progress(n, total, "Grading")
        )
    except (NotGradable, ValueError) as why:
        raise JobRefused(str(why)) from None
    before = _before(regrade)
    if not options.explain:
        answers = _explain_moved(answers, before, boards, features, rules, options)
    progress(len(boards), len(boards), "Storing")
    key = pd.util.hash_pandas_object(features.drop(columns="note"), index=False).to_numpy().tobytes()
    digest = hashlib.sha256(key + repr((rules, options)).encode()).hexdigest()
    moved = store_regrade(regrade=regrade, answers=answers, boards=boards, input_hash=digest, by=regrade.by)
    return {"boards": len(boards), "moved": moved}


def _before(regrade: Regrade) -> dict[str, str]:
    given = BoardGrade.objects.filter(board__study=regrade.study, rule_set=regrade.against)
    return dict(given.values_list("board__code", "grade__code"))


def _explain_moved(
    answers: Sequence[GradedBoard],
    before: dict[str, str],
    boards: pd.DataFrame,
    features: pd.DataFrame,
    rules: GradingRules,
    options: GradingOptions,
) -> list[GradedBoard]:
    """The same answers, with what decides where the grade is another one than before."""
    moved = [a.board for a in answers if before.get(a.board) not in (None, a.grade)]
    some = boards[boards["board"].isin(moved)]
    told = grade_boards(
        some,
        features[features["board"].isin(moved)],
        rules,
        options=GradingOptions(options.mode, options.assessed, options.heartwood_only),
    )
    by_board = {a.board: a for a in told}
    return [by_board.get(a.board, a) for a in answers]
