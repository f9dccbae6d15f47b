"""What the rules grade from: boards, their feature maps and rule sets, as the frames of `calc`."""

import pandas as pd
from django.db.models import QuerySet

from grading.calc.rule_limits import GradingRules
from grading.calc.rule_reading import RuleProblems, read_rules
from grading.models import FEATURE_NUMBERS, BoardFeature, RuleSet
from portal.uploads.frames import frame
from sawing.models import Board
from sawing.queries import BOARD_FIELDS, BOARD_NUMBERS

FEATURE_FIELDS = {
    "board": "board__code",
    "kind": "kind",
    "face": "face",
    **{name: name for name in FEATURE_NUMBERS},
    "note": "note",
}


def rules_of(rule_set: RuleSet) -> GradingRules | None:
    """The rules of a rule set; None when it has names of grades only, or its document cannot grade."""
    try:
        return read_rules({**rule_set.rules, "version": rule_set.version}) if rule_set.rules else None
    except RuleProblems:
        return None


def feature_frame(boards: QuerySet[Board]) -> pd.DataFrame:
    """The features that count on some boards of one study, in the columns of a features file; `_row` is the key."""
    rows = BoardFeature.objects.filter(board__in=boards.order_by(), set_aside=False)
    found = frame(rows.order_by("board__code", "face", "x_mm", "pk"), {**FEATURE_FIELDS, "_row": "pk"})
    return found.astype(dict.fromkeys(FEATURE_NUMBERS, float))


def gradable_boards(boards: QuerySet[Board]) -> pd.DataFrame:
    """Some boards of one study in the columns of the tally; `_row` is the primary key."""
    found = frame(boards.order_by("code"), {**BOARD_FIELDS, "_row": "pk"})
    return found.astype(dict.fromkeys(BOARD_NUMBERS, float))
