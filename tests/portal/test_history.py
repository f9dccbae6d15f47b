"""History: whatever is added, changed or deleted leaves an event, by whichever way, and events stay as they are."""

from typing import Any

import pghistory
import pytest
from django.db import connection

from grading.models import BoardGrade
from portal.models import Membership
from portal.uploads.actions import replace_stored
from portal.uploads.bulk import copy_columns
from sawing.models import Board, Log
from sawing.queries import BOARD_NUMBERS
from tests.conftest import Place
from tests.grading import bench_rows
from tests.portal.test_chain_constraints import models_of_the_house
from tests.refusals import insert, one, refused
from tests.sawing import processing
from tests.trials.crews import one_of_each

MEASURING = ("Trait", "Assessment", "AssessmentTrait", "Entry", "HeldEntry", "Photo", "SettledCheck")
BOARD_EVENTS = Board.pgh_event_model


def labels(model: type[Any], pk: int) -> list[str]:
    return list(
        model.pgh_event_model.objects.filter(pgh_obj_id=pk)
        .order_by("pgh_id")
        .values_list("pgh_label", flat=True)
    )


def board(code: str) -> Board:
    return Board.objects.get(code=code)


def test_added_changed_and_deleted_one_by_one(material: Place) -> None:
    new = one(Board, code="NEW", state="sawn")
    new.save()
    new.width_mm = 190
    new.save()
    pk = new.pk
    new.delete()
    assert labels(Board, pk) == ["added", "changed", "deleted"]
    events = BOARD_EVENTS.objects.filter(pgh_obj_id=pk).order_by("pgh_id")
    assert list(events.values_list("width_mm", flat=True)) == [200, 190, 190]


def test_in_bulk(material: Place) -> None:
    made = Board.objects.bulk_create([one(Board, code=f"N{i}", state="sawn") for i in range(3)])
    Board.objects.filter(code__startswith="N").update(length_m=2.9)
    for b in made:
        b.width_mm = 199
    Board.objects.bulk_update(made, ["width_mm"])
    Board.objects.filter(code__startswith="N").delete()
    assert {tuple(labels(Board, b.pk)) for b in made} == {("added", "changed", "changed", "deleted")}


def test_through_copy(material: Place) -> None:
    log = Log.objects.get(code="L1")
    n = copy_columns(
        Board,
        {"study_id": material.study.pk, "log_id": log.pk, "code": "C1", **dict.fromkeys(BOARD_NUMBERS, 20.0)},
        1,
    )
    assert n == 1
    assert labels(Board, board("C1").pk) == ["added"]
    event = BOARD_EVENTS.objects.get(pgh_obj_id=board("C1").pk)
    assert (event.code, event.thickness_mm, event.state) == ("C1", 20.0, "sawn")


def test_by_raw_sql(material: Place) -> None:
    with connection.cursor() as cursor:
        cursor.execute("UPDATE sawing_board SET width_mm = width_mm + 1 WHERE code = 'B3'")
    assert labels(Board, board("B3").pk) == ["added", "changed"]


def test_a_change_that_changes_nothing_leaves_no_event(material: Place) -> None:
    Board.objects.filter(code="B3").update(width_mm=180)
    assert labels(Board, board("B3").pk) == ["added"]


@pytest.mark.parametrize("model", [m for m in models_of_the_house() if hasattr(m, "pgh_event_model")])
def test_everything_that_was_brought_has_its_first_event(material: Place, model: type[Any]) -> None:
    events = model.pgh_event_model.objects.filter(pgh_label="added")
    assert set(events.values_list("pgh_obj_id", flat=True)) == set(
        model._base_manager.values_list("pk", flat=True)
    )


@pytest.mark.parametrize("model", [m for m in models_of_the_house() if hasattr(m, "pgh_event_model")])
@pytest.mark.parametrize("sql", ["UPDATE {} SET pgh_label = 'never'", "DELETE FROM {}"])
def test_events_are_neither_changed_nor_deleted(material: Place, model: type[Any], sql: str) -> None:
    if model.__name__ == "HeldRow":
        material.bring("boards", "board,log,thickness_mm,width_mm,length_m\nN1,NOLOG,28,100,3\n")
    if model.__name__ in MEASURING:
        one_of_each(material)
    if model.__module__.startswith("sawing.models.") and not model._base_manager.exists():
        processing.one_of_each(material)
    if model.__module__.startswith("grading.models.") and not model._base_manager.exists():
        bench_rows.one_of_each(material)
    events = model.pgh_event_model
    before = events.objects.count()
    assert before
    with refused("Cannot update or delete rows"), connection.cursor() as cursor:
        cursor.execute(sql.format(events._meta.db_table))
    assert events.objects.count() == before


def test_an_event_survives_what_it_tells_of(material: Place) -> None:
    grade = BoardGrade.objects.get(board__code="B1")
    pk = grade.pk
    grade.delete()
    last = BoardGrade.pgh_event_model.objects.filter(pgh_obj_id=pk).latest("pgh_id")
    assert (last.pgh_label, last.graded_length_m) == ("deleted", 2.7)


def test_the_event_names_who_did_it(material: Place) -> None:
    mill = material.people["mill"]
    with pghistory.context(user=mill.pk, command="a test"):
        insert(Board, code="NEW", state="sawn")
        Board.objects.filter(code="NEW").update(width_mm=150)
        Board.objects.filter(code="NEW").delete()
    events = list(BOARD_EVENTS.objects.filter(code="NEW").order_by("pgh_id").select_related("pgh_context"))
    assert [e.pgh_label for e in events] == ["added", "changed", "deleted"]
    assert {e.pgh_context.metadata["user"] for e in events} == {mill.pk}
    assert {e.pgh_context.metadata["command"] for e in events} == {"a test"}


def test_without_a_context_nobody_is_named(material: Place) -> None:
    insert(Board, code="NEW", state="sawn")
    assert BOARD_EVENTS.objects.get(code="NEW").pgh_context is None


def test_what_is_done_on_a_page_names_the_person_and_the_page(material: Place, client: Any) -> None:
    manager = material.people["manager"]
    client.force_login(manager)
    client.post("/boards/offer/small/first/", {"board": "B1"})
    event = BOARD_EVENTS.objects.filter(code="B1").latest("pgh_id")
    assert (event.pgh_label, event.state) == ("changed", "available")
    assert event.pgh_context.metadata["user"] == manager.pk
    assert event.pgh_context.metadata["url"] == "/boards/offer/small/first/"


def test_the_page_of_a_board_tells_its_history(material: Place, client: Any) -> None:
    manager = material.people["manager"]
    upload = material.bring(
        "boards", "board,log,thickness_mm,width_mm,length_m\nB1,L1,28,201,3\n", name="b.csv"
    )
    with pghistory.context(user=manager.pk):
        replace_stored(upload_id=upload.pk, held_ids=[upload.held_rows.get().pk], by=manager)
    client.force_login(manager)
    page = client.get("/boards/small/first/B1/").content.decode()
    assert "The manager" in page
    assert "width mm: 200.0 → 201.0" in page


def test_a_role_given_and_taken_stays_on_record(material: Place) -> None:
    membership = Membership.objects.get(role="mill")
    Membership.objects.filter(pk=membership.pk).update(active=False)
    assert labels(Membership, membership.pk) == ["added", "changed"]
