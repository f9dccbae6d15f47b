"""The database refuses what cannot be of labels, tallies, stacks, readings and plans."""

import datetime as dt
import uuid
from typing import Any

import pytest

from sawing.actions import create_study
from sawing.models import (
    Board,
    BoardCode,
    DockResult,
    DryingDefect,
    Duty,
    Felling,
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
    Study,
    TallyEntry,
    Yard,
)
from tests.conftest import Place
from tests.refusals import (
    NEGATIVE,
    NOT_POSITIVE,
    Attempt,
    insert,
    numbers_refused,
    refused,
    rules_named,
    update,
)
from tests.sawing.processing import DAY, one_of_each, sheet_of

NUMBERS = [
    *numbers_refused(Study, "positive", "min_length_mm max_length_mm", NOT_POSITIVE),
    *numbers_refused(
        Study,
        "not_negative",
        "crosscut_kerf_mm oversize_width_pct oversize_thickness_mm edger_clearance_mm",
        NEGATIVE,
    ),
    *numbers_refused(Felling, "not_negative", "stump_m", NEGATIVE),
    *numbers_refused(LabelSheet, "positive", "pitch_mm diameter_mm thickness_mm width_mm", NOT_POSITIVE),
    *numbers_refused(LabelSheet, "not_negative", "torn_mm", NEGATIVE),
    *numbers_refused(DockResult, "not_negative", "volume_m3", NEGATIVE),
    *numbers_refused(Stack, "positive", "fillet_thickness_mm fillet_spacing_mm target_pct", NOT_POSITIVE),
    *numbers_refused(Stack, "not_negative", "top_weight_kg", NEGATIVE),
    *numbers_refused(MoistureReading, "not_negative", "raw_pct mc_pct", NEGATIVE),
    *numbers_refused(MoistureReading, "positive", "wet_mass_g dry_mass_g", NOT_POSITIVE),
    *numbers_refused(DryingDefect, "not_negative", "size_mm", NEGATIVE),
    *numbers_refused(DryingDefect, "positive", "over_mm", NOT_POSITIVE),
]
EARLIER = DAY - dt.timedelta(days=1)
NEW = {"client_id": uuid.UUID(int=9)}


def second_study(p: Place) -> Study:
    return create_study(trial=p.trial, code="second", name="Second study", by=p.people["manager"])


def stack_of_another_study(p: Place) -> Stack:
    return Stack.objects.create(study=second_study(p), code="other")


def placing(p: Place, **changes: Any) -> None:
    insert(StackPlacing, **({"board": Board.objects.get(code="B2"), "position": 2} | changes))


RULES: dict[str, list[Attempt]] = {
    "sawing_study_sweep_position_known": [lambda p: update(Study, sweep_position="up")],
    "sawing_study_docks_few": [lambda p: update(Study, max_docks=3)],
    "sawing_study_max_docks_check": [lambda p: update(Study, max_docks=-1)],
    "sawing_study_lengths_in_order": [lambda p: update(Study, min_length_mm=2000, max_length_mm=1999)],
    "sawing_flitch_outline_from_known": [
        lambda p: update(Flitch, outline=[]),
        lambda p: update(Flitch, outline_from="traced"),
        lambda p: update(Flitch, outline=[], outline_from="guessed"),
    ],
    "sawing_duty_stage_known": [lambda p: update(Duty, stage="sold")],
    "sawing_duty_names_somebody": [lambda p: update(Duty, name="")],
    "sawing_logserial_number_key": [lambda p: insert(LogSerial, log=Log.objects.get(code="L2"))],
    "sawing_logserial_number_check": [],  # a number below zero is refused by the next rule as well
    "sawing_logserial_number_fits": [
        lambda p, n=n: insert(LogSerial, log=Log.objects.get(code="L2"), number=n) for n in (0, 100_000)
    ],
    "sawing_logserial_one_in_use": [lambda p: insert(LogSerial, number=8)],
    "stays": [
        lambda p: update(LogSerial, number=9),
        lambda p: update(LogSerial, log=Log.objects.get(code="L2")),
    ],
    "sawing_labelsheet_once": [lambda p: insert(LabelSheet)],
    "sawing_labelsheet_end_known": [lambda p: update(LabelSheet, end="side")],
    "sawing_labelsheet_cells_fit": [
        lambda p, c=c: update(LabelSheet, **c) for c in ({"rows": 0}, {"rows": 65}, {"cols": 0}, {"cols": 65})
    ],
    **{
        f"sawing_labelsheet_{n}_check": [lambda p, n=n: update(LabelSheet, **{n: -1})]
        for n in ("fewest_codes",)
    },
    **{f"sawing_labelsheet_{n}_check": [] for n in ("rows", "cols", "dots", "pith_row", "pith_col")},
    "sawing_labelsheet_pith_on_sheet": [
        lambda p: update(LabelSheet, pith_row=64, pith_col=1),
        lambda p: update(LabelSheet, pith_row=1),
    ],
    "sawing_labelsheet_dots_some": [lambda p: update(LabelSheet, dots=0)],
    "sawing_labelsheet_turn_plausible": [
        lambda p, v=v: update(LabelSheet, turned_deg=v) for v in (-181.0, 361.0, float("nan"), float("inf"))
    ],
    "sawing_boardcode_on_one_board": [lambda p: insert(BoardCode, board=Board.objects.get(code="B2"))],
    "sawing_boardcode_on_sheet": [lambda p: update(BoardCode, row=64), lambda p: update(BoardCode, col=64)],
    "sawing_boardcode_row_check": [],  # below zero: the rule above
    "sawing_boardcode_col_check": [],
    "sawing_boardcode_read_by_known": [lambda p: update(BoardCode, read_by="guess")],
    "code_of_its_log": [
        lambda p: insert(BoardCode, sheet=sheet_of(Log.objects.get(code="L2"), 8)),
        lambda p: update(BoardCode, sheet=sheet_of(Log.objects.get(code="L2"), 8)),
    ],
    "sawing_yard_name_once": [lambda p: insert(Yard, name="YARD")],
    "sawing_yard_name_filled": [lambda p: update(Yard, name="")],
    "sawing_stack_code_once": [lambda p: insert(Stack, code="STACK-1")],
    "sawing_stack_code_filled": [lambda p: update(Stack, code="")],
    "sawing_stack_state_known": [lambda p: update(Stack, state="burnt")],
    "sawing_stack_days_in_order": [lambda p: update(Stack, released_on=EARLIER)],
    "sawing_stack_released_has_a_day": [lambda p: update(Stack, state="released")],
    "sawing_stackplacing_one_stack": [lambda p: placing(p, board=Board.objects.get(code="B1"))],
    "sawing_stackplacing_place_once": [lambda p: placing(p, position=1)],
    "sawing_stackplacing_days_in_order": [lambda p: update(StackPlacing, taken_on=EARLIER)],
    "sawing_stackplacing_layer_check": [lambda p: update(StackPlacing, layer=-1)],
    "sawing_stackplacing_position_check": [lambda p: update(StackPlacing, position=-1)],
    "board_of_its_study": [
        lambda p: placing(p, stack=stack_of_another_study(p)),
        lambda p: update(StackPlacing, stack=stack_of_another_study(p)),
    ],
    "sawing_moisturereading_client_id_key": [
        lambda p: (insert(MoistureReading, **NEW), insert(MoistureReading, **NEW))
    ],
    "sawing_moisturereading_method_known": [lambda p: update(MoistureReading, method="thumb")],
    "sawing_moisturereading_value_or_above": [
        lambda p: update(MoistureReading, mc_pct=None),
        lambda p: update(MoistureReading, above_fsp=True),
    ],
    "sawing_moisturereading_oven_has_a_value": [
        lambda p: update(MoistureReading, method="oven_dry", above_fsp=True, mc_pct=None)
    ],
    "sawing_moisturereading_water_not_negative": [
        lambda p: update(MoistureReading, wet_mass_g=90, dry_mass_g=91)
    ],
    "sawing_moisturereading_temperature_plausible": [
        lambda p, v=v: update(MoistureReading, temperature_c=v) for v in (-61, 151, float("nan"))
    ],
    "sawing_dryingdefect_kind_known": [lambda p: update(DryingDefect, kind="ugly")],
    "sawing_dockresult_once": [lambda p: insert(DockResult)],
    "sawing_dockresult_from_known": [lambda p: update(DockResult, outline_from="guess")],
    "sawing_dockresult_input_hash_filled": [lambda p: update(DockResult, input_hash="")],
    "sawing_scenariotable_name_filled": [lambda p: update(ScenarioTable, name="")],
    "sawing_plancomparison_study_id_key": [lambda p: insert(PlanComparison)],
    "sawing_plancomparison_result_has_a_date": [
        lambda p: update(PlanComparison, result={}),
        lambda p: update(PlanComparison, computed_at=dt.datetime.now(dt.UTC)),
    ],
    "sawing_tallyentry_client_id_key": [lambda p: insert(TallyEntry, standing="repeated")],
    "sawing_tallyentry_one_stands": [lambda p: insert(TallyEntry, **NEW)],
    "sawing_tallyentry_kind_known": [lambda p: update(TallyEntry, kind="dance")],
    "sawing_tallyentry_standing_known": [lambda p: update(TallyEntry, standing="lost")],
    "sawing_tallyentry_board_has_sizes": [
        lambda p, n=n, v=v: update(TallyEntry, **{n: v})
        for n in ("thickness_mm", "width_mm", "length_m")
        for v in (0, float("nan"), float("inf"))
    ]
    + [lambda p: update(TallyEntry, log=None)],
    "sawing_board_id_study": [],  # implied by the key; there for others to refer to
    "sawing_tallyentry_log_of_its_study": [lambda p: update(TallyEntry, board=None, study=second_study(p))],
    "sawing_tallyentry_board_of_its_study": [lambda p: update(TallyEntry, study=second_study(p))],
    "sawing_heldtally_client_id_key": [lambda p: insert(HeldTally)],
    "sawing_heldtally_state_known": [
        lambda p: update(HeldTally, state="lost", settled_at=dt.datetime.now(dt.UTC))
    ],
    "sawing_heldtally_settled_has_a_date": [
        lambda p: update(HeldTally, state="stored"),
        lambda p: update(HeldTally, settled_at=dt.datetime.now(dt.UTC)),
    ],
}
SAID_OTHERWISE = {
    "stays": "Cannot update rows from sawing_logserial",
    "code_of_its_log": "belongs to another log than the board",
    "board_of_its_study": "belongs to another study than the stack",
    # The columns' own check speaks first, or either of two: which one is PostgreSQL's choice.
    "sawing_tallyentry_board_of_its_study": "sawing_tallyentry_(board|log)_of_its_study",
}
ATTEMPTS = [
    pytest.param(rule, a, id=f"{rule}-{i}") for rule, tries in RULES.items() for i, a in enumerate(tries)
]
TRIED = set(RULES) | rules_named(NUMBERS)


@pytest.mark.parametrize(("rule", "attempt"), ATTEMPTS)
def test_the_database_refuses(material: Place, rule: str, attempt: Attempt) -> None:
    one_of_each(material)
    with refused(SAID_OTHERWISE.get(rule, rule)):
        attempt(material)


@pytest.mark.parametrize(("model", "field", "value", "rule"), NUMBERS)
def test_sizes_are_finite(material: Place, model: Any, field: str, value: float, rule: str) -> None:
    one_of_each(material)
    with refused(rule):
        update(model, **{field: value})
