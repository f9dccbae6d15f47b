"""An open assessment on the small trial, and phones that enter into it."""

import datetime as dt
import uuid
from dataclasses import dataclass, field
from typing import Any

from portal.models import User
from tests.conftest import Place
from trials.entries.actions import Answer, add_default_traits, open_assessment, receive_entries
from trials.models import Assessment, Entry, Photo, SettledCheck, Trial

TRAITS = ("dbh_mm", "height_m", "straightness", "survival")


def traits_of(trial: Trial, *codes: str) -> list[Any]:
    there = {t.code: t for t in trial.traits.all()}
    return [there[code] for code in codes]


def open_spring(place: Place, name: str = "Spring", day: dt.date = dt.date(2026, 4, 1)) -> Assessment:
    """An assessment of site S with four of the usual traits, its trees as they stood before the felling."""
    place.trial.trees.update(status="standing")
    add_default_traits(trial=place.trial, by=place.people["manager"])
    return open_assessment(
        site=place.trial.sites.get(code="S"),
        name=name,
        measured_from=day,
        traits=traits_of(place.trial, *TRAITS),
        crew=[place.people["field_crew"]],
        by=place.people["manager"],
    )


@dataclass
class Phone:
    """A phone in the hand of a person: it counts its entries and keeps what it made."""

    assessment: Assessment
    person: User
    device: uuid.UUID = field(default_factory=uuid.uuid4)
    count: int = 0

    def entry(
        self, tree: str = "S-1-1", number: Any = 352, trait: str = "dbh_mm", **changes: Any
    ) -> dict[str, Any]:
        """The next entry of this phone, as JSON."""
        self.count += 1
        made = {
            "id": str(uuid.uuid4()),
            "assessment": self.assessment.pk,
            "tree": tree,
            "trait": trait,
            "kind": "value",
            "number": number,
            "text": None,
            "confirmed": False,
            "corrects": None,
            "sequence": self.count,
            "entered_at": "2026-04-02T09:30:00Z",
        }
        return made | changes

    def mark(self, kind: str, tree: str = "S-1-1", text: str | None = None, **changes: Any) -> dict[str, Any]:
        """The next entry of a kind that has no trait."""
        return self.entry(tree, None, kind=kind, **({"trait": None, "text": text} | changes))

    def send(self, *entries: dict[str, Any]) -> list[Answer]:
        return receive_entries(device=self.device, entries=list(entries), by=self.person)

    def enter(self, *args: Any, **changes: Any) -> Entry:
        """Make an entry and send it; returns it as stored."""
        made = self.entry(*args, **changes)
        assert self.send(made)[0].standing
        return Entry.objects.get(client_id=made["id"])


def standing_of(entry: Entry | dict[str, Any]) -> str:
    identity = entry["id"] if isinstance(entry, dict) else entry.client_id
    return str(Entry.objects.values_list("standing", flat=True).get(client_id=identity))


def one_of_each(place: Place) -> None:
    """A trait, an assessment, an entry and a held entry, for tests that walk all tables."""
    phone = Phone(open_spring(place), place.people["field_crew"])
    good, unknown = phone.entry(), phone.entry(tree="NOWHERE")
    receive_entries(device=phone.device, entries=[good, unknown], by=phone.person)
    Entry.objects.update(confirmed=True)
    looked_at(phone.assessment, place.people["manager"])


def looked_at(assessment: Assessment, by: User) -> None:
    """A settled finding and a photo of the first tree, as rows of their tables."""
    tree, trait = assessment.site.trees.order_by("pk")[0], assessment.traits.order_by("pk")[0]
    SettledCheck.objects.create(
        assessment=assessment,
        fingerprint="f" * 64,
        check_kind="limits",
        tree=tree,
        trait=trait,
        said="too large",
        note="a large tree",
        by=by,
    )
    Photo.objects.create(
        client_id=uuid.uuid4(),
        assessment=assessment,
        tree=tree,
        device=uuid.uuid4(),
        by=by,
        width_px=4,
        height_px=3,
        content=b"picture",
        small=b"small",
    )
