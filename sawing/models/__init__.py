"""From the felled tree to the dry board."""

from sawing.models.chain import (
    BOARD_STEPS,
    Bark,
    Board,
    BoardState,
    Felling,
    Flitch,
    Log,
    OutlineFrom,
    Study,
    SweepPosition,
)
from sawing.models.docking import DockResult, PlanComparison, ResultFrom, ScenarioTable
from sawing.models.drying import (
    DefectKind,
    DryingDefect,
    MoistureMethod,
    MoistureReading,
    Stack,
    StackPlacing,
    StackState,
    Yard,
)
from sawing.models.labels import CELLS, LARGEST_SERIAL, BoardCode, LabelSheet, LogEnd, LogSerial, ReadBy
from sawing.models.planning import Duty, Stage
from sawing.models.tally import HeldTally, HeldTallyState, TallyEntry, TallyKind, TallyStanding

__all__ = [
    "BOARD_STEPS",
    "CELLS",
    "LARGEST_SERIAL",
    "Bark",
    "Board",
    "BoardCode",
    "BoardState",
    "DefectKind",
    "DockResult",
    "DryingDefect",
    "Duty",
    "Felling",
    "Flitch",
    "HeldTally",
    "HeldTallyState",
    "LabelSheet",
    "Log",
    "LogEnd",
    "LogSerial",
    "MoistureMethod",
    "MoistureReading",
    "OutlineFrom",
    "PlanComparison",
    "ReadBy",
    "ResultFrom",
    "ScenarioTable",
    "Stack",
    "StackPlacing",
    "StackState",
    "Stage",
    "Study",
    "SweepPosition",
    "TallyEntry",
    "TallyKind",
    "TallyStanding",
    "Yard",
]
