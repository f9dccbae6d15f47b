"""The sample of every kind of file is taken as it is, in a trial where the samples before it were brought."""

import pytest
from django.conf import settings
from django.test import Client
from django.urls import reverse

from docs.make_file_formats import KINDS
from grading.calc.rule_set_documents import read_rule_sets
from portal.models import HeldRow
from portal.uploads.registry import kinds
from reports.demo import load_rule_set
from tests.conftest import Place
from trials.entries.actions import add_default_traits, open_assessment

NAMES = [kind.name for kind in KINDS]


def sample_of(client: Client, kind: str, file_type: str = "csv") -> bytes:
    answer = client.get(reverse("portal:sample", args=[kind]), {"as": file_type})
    assert answer.status_code == 200
    return bytes(answer.content)


def test_every_registered_kind_has_its_sample_tried() -> None:
    assert set(NAMES) == {kind.file.name for kind in kinds()}


@pytest.mark.parametrize("file_type", ["csv", "xlsx"])
@pytest.mark.parametrize("kind", NAMES)
def test_a_sample_passes_its_own_checks(place: Place, client: Client, kind: str, file_type: str) -> None:
    manager = place.people["manager"]
    client.force_login(manager)
    for document in read_rule_sets(settings.BASE_DIR / "fixtures" / "rule_sets"):
        load_rule_set(document, place.people["steward"])
    for name in NAMES[: NAMES.index(kind) + 1]:
        if name == "measurements":
            add_default_traits(trial=place.trial, by=manager)
            traits = list(place.trial.traits.filter(code__in=["dbh_mm", "height_m"]))
            site = place.trial.sites.get()
            open_assessment(
                site=site, name="Spring 2026", measured_from="2026-05-01", traits=traits, crew=[], by=manager
            )
        raw = sample_of(client, name, file_type)
        upload = place.bring(name, raw, name=f"{name}_sample.{file_type}")
        held = list(HeldRow.objects.filter(upload=upload).values_list("problems", flat=True))
        assert (upload.added > 0, held) == (True, []), name
