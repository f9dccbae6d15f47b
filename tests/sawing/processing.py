"""One row of every table of a study's processing, beside the small trial's material."""

import datetime as dt
import uuid
from typing import Any

from sawing.models import (
    Board,
    BoardCode,
    DockResult,
    DryingDefect,
    Duty,
    Flitch,
    HeldTally,
    LabelSheet,
    Log,
    LogSerial,
    MoistureReading,
    PlanComparison,
    ScenarioTable,
    Stack,
    StackPlacing,
    TallyEntry,
    Yard,
)
from tests.conftest import Place

DAY = dt.date(2026, 3, 2)


def sheet_of(log: Log, number: int = 7, end: str = "butt", **changes: Any) -> LabelSheet:
    serial, _ = LogSerial.objects.get_or_create(number=number, defaults={"log": log})
    usual = {
        "rows": 40,
        "cols": 40,
        "dots": 7,
        "pitch_mm": 8.3,
        "diameter_mm": 320.0,
        "thickness_mm": 28.0,
        "width_mm": 100.0,
        "torn_mm": 1.0,
        "fewest_codes": 14,
    }
    return LabelSheet.objects.create(serial=serial, end=end, **(usual | changes))


def one_of_each(place: Place) -> None:
    study, by = place.study, place.people["mill"]
    log, board = Log.objects.get(code="L1"), Board.objects.get(code="B1")
    Duty.objects.create(study=study, stage="sawn", name="The sawyer")
    BoardCode.objects.create(board=board, sheet=sheet_of(log), row=3, col=4, by=by)
    yard = Yard.objects.create(trial=study.trial, name="Yard")
    stack = Stack.objects.create(study=study, code="stack-1", yard=yard, built_on=DAY)
    StackPlacing.objects.create(stack=stack, board=board, layer=1, position=1, placed_on=DAY)
    MoistureReading.objects.create(board=board, stack=stack, read_on=DAY, raw_pct=21, mc_pct=20.5)
    DryingDefect.objects.create(board=board, kind="bow", size_mm=6, over_mm=2000, seen_on=DAY)
    DockResult.objects.create(
        flitch=Flitch.objects.filter(log=log)[0],
        outline_from="measured",
        outline=[],
        rules={},
        result={},
        volume_m3=0.02,
        input_hash="abc",
        by=by,
    )
    ScenarioTable.objects.create(study=study, name="Kerfs", parameters={}, by=by)
    PlanComparison.objects.create(study=study, by=by)
    tally = {"device": uuid.uuid4(), "sequence": 1, "by": by, "client_id": uuid.uuid4()}
    sizes = {"thickness_mm": 28, "width_mm": 200, "length_m": 3}
    TallyEntry.objects.create(study=study, log=log, board=board, board_code="B1", **sizes, **tally)
    TallyEntry.objects.update(piece="a")  # history tells of what happens to an entry after it came
    HeldTally.objects.create(client_id=uuid.uuid4(), study=study, content={}, problems=["no log"], by=by)
