"""The database refuses impossible people, files and held rows; and every model of the house has its rules."""

from datetime import UTC, datetime
from typing import Any

import pytest
from django.apps import apps
from django.db import models

from portal.models import HeldRow, Job, Membership, Upload
from tests.conftest import Place
from tests.grading import bench_rows
from tests.refusals import Attempt, insert, refused, rules_of, update
from tests.sawing import processing
from tests.trials.crews import one_of_each

ROOMS = ("portal", "trials", "sawing", "grading", "reports")
NOT_TRACKED = {
    "Job": "changes many times a minute, and says itself who asked for it and when it ran",
    "RegradedBoard": "is computed anew from features and rules; who asked for it and who kept it is in Regrade",
    "User": "holds password hashes and the time of each sign-in; who did what is kept with each event",
}

# These look before the constraints do.
TRIGGERS = (
    "another (trial|site|log|study)|different samples|override_has_a_reason"
    "|Cannot update rows|Invalid transition"
)
NOW = datetime(2026, 1, 1, tzinfo=UTC)
COUNTS = ("size_bytes", "rows", "added", "already_there", "held")


def held_row(p: Place) -> HeldRow:
    upload = Upload.objects.get(kind="boards")
    return HeldRow.objects.create(upload=upload, row_number=7, values={}, problems=[])


def settled(p: Place, **changes: Any) -> None:
    held = held_row(p)
    update(HeldRow, {"pk": held.pk}, **changes)


def stored_again(p: Place, **changes: Any) -> None:
    upload = Upload.objects.get(kind=changes.pop("kind", "boards"))
    upload.pk = None
    Upload.objects.bulk_create([upload])


def a_job(p: Place, **changes: Any) -> None:
    usual = {"kind": "scenarios", "title": "Twelve scenarios", "by": p.people["manager"], "trial": p.trial}
    Job.objects.create(**usual)
    if changes:
        update(Job, **changes)


RULES: dict[str, list[Attempt]] = {
    "portal_job_state_known": [lambda p: a_job(p, state="lost", ended_at=NOW)],
    "portal_job_ended_has_a_date": [
        lambda p: a_job(p, state="done"),
        lambda p: a_job(p, ended_at=NOW),
    ],
    **{f"portal_job_{n}_filled": [lambda p, n=n: a_job(p, **{n: ""})] for n in ("kind", "title")},
    **{f"portal_job_{n}_not_negative": [lambda p, n=n: a_job(p, **{n: -1})] for n in ("done", "total")},
    "portal_membership_once": [lambda p: insert(Membership), lambda p: insert(Membership, active=False)],
    "portal_membership_role_known": [lambda p: update(Membership, {"role": "mill"}, role="king")],
    "portal_upload_same_file_stored_once": [
        stored_again,  # a file of a study
        lambda p: stored_again(p, kind="clones"),  # a file of the trial: no study is no way round it
    ],
    "portal_upload_state_known": [lambda p: update(Upload, state="eaten")],
    **{
        f"portal_upload_{name}_filled": [lambda p, n=name: update(Upload, {"kind": "boards"}, **{n: ""})]
        for name in ("kind", "file_name", "sha256")
    },
    **{
        f"portal_upload_{name}_not_negative": [lambda p, n=name: update(Upload, **{n: -1})] for name in COUNTS
    },
    "portal_upload_into_a_study_of_its_trial": [],  # tried beside the studies, in tests/sawing
    "portal_heldrow_once": [lambda p: (held_row(p), insert(HeldRow))],
    "portal_heldrow_state_known": [lambda p: settled(p, state="lost", settled_at=NOW)],
    "portal_heldrow_settled_has_a_date": [
        lambda p: settled(p, state="stored"),
        lambda p: settled(p, state="set_aside", settled_by=p.people["mill"]),
        lambda p: settled(p, settled_at=NOW),
        lambda p: insert_waiting_with_a_date(p),
    ],
}
ATTEMPTS = [
    pytest.param(rule, a, id=f"{rule}-{i}") for rule, tries in RULES.items() for i, a in enumerate(tries)
]


def insert_waiting_with_a_date(p: Place) -> None:
    upload = Upload.objects.get(kind="boards")
    HeldRow.objects.bulk_create(
        [HeldRow(upload=upload, row_number=8, values={}, problems=[], settled_at=NOW)]
    )


def models_of_the_house() -> list[type[Any]]:
    """Every model with a table of its own, history tables left out."""
    found = [m for room in ROOMS for m in apps.get_app_config(room).get_models()]
    return [m for m in found if not m._meta.proxy and not hasattr(m, "pgh_tracked_model")]


@pytest.mark.parametrize(("rule", "attempt"), ATTEMPTS)
def test_the_database_refuses(material: Place, rule: str, attempt: Attempt) -> None:
    with refused(rule):
        attempt(material)


def test_every_rule_of_the_room_is_tried(material: Place) -> None:
    assert rules_of("portal") == set(RULES)


def test_a_file_may_be_set_aside_and_brought_again(material: Place) -> None:
    for _ in range(2):
        insert(Upload, state="discarded")
    insert(Upload, state="checked")


def test_every_model_is_tracked_and_has_a_rule() -> None:
    for model in models_of_the_house():
        if model.__name__ not in NOT_TRACKED:
            assert hasattr(model, "pgh_event_model"), f"no history of {model.__name__}"
            assert model._meta.constraints, f"{model.__name__} has no constraint"
            dated = {"created_at", "received_at"} & {f.name for f in model._meta.fields}
            assert dated or model is HeldRow, model.__name__
    assert set(NOT_TRACKED) <= {m.__name__ for m in models_of_the_house()}
    assert len(models_of_the_house()) >= 20


def test_no_stored_thing_is_deleted_by_cascade() -> None:
    """Deleting a trial must not take its boards along: every parent protects."""
    for model in models_of_the_house():
        for field in model._meta.concrete_fields:
            if isinstance(field, models.ForeignKey):
                assert field.remote_field.on_delete is models.PROTECT, f"{model.__name__}.{field.name}"


def test_every_reference_must_exist_and_every_needed_value_be_there(material: Place) -> None:
    """At SQL level, field by field: a parent that is not there, and nothing where something is needed."""
    held_row(material)
    one_of_each(material)
    processing.one_of_each(material)
    bench_rows.one_of_each(material)
    a_job(material)
    tried = 0
    for model in models_of_the_house():
        row = model._base_manager.order_by("pk").first()
        assert row is not None, model.__name__
        for field in model._meta.concrete_fields:
            if field.primary_key or isinstance(field, models.GeneratedField):
                continue
            if isinstance(field, models.ForeignKey):
                with refused(f"violates foreign key|{TRIGGERS}"):
                    update(model, {"pk": row.pk}, **{field.attname: 10**9})
                tried += 1
            if not field.null:
                with refused(f"violates not-null|{TRIGGERS}"):
                    update(model, {"pk": row.pk}, **{field.attname: None})
                tried += 1
    assert tried > 100
