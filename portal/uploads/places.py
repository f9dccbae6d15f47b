"""Places a file can go to: a trial ("four-fells") or one of its studies ("four-fells/thirty")."""

from dataclasses import dataclass

from django.apps import apps
from django.core.exceptions import PermissionDenied

from portal import access
from portal.models import User
from portal.uploads.registry import Target, kinds


@dataclass(frozen=True)
class Place:
    key: str
    label: str
    target: Target


def places_for(user: User) -> list[Place]:
    """The trials, and their studies, into which a person may bring at least one kind of file."""
    roles = frozenset().union(*(k.roles for k in kinds()))
    trials = apps.get_model("trials", "Trial").objects.prefetch_related("studies")
    allowed = access.trial_ids(user, roles)
    places = []
    for trial in trials if allowed is None else trials.filter(pk__in=allowed):
        places.append(Place(trial.code, trial.name, Target(trial)))
        for study in trial.studies.all():
            places.append(
                Place(f"{trial.code}/{study.code}", f"{trial.name} › {study.name}", Target(trial, study))
            )
    return places


def place_named(user: User, key: str) -> Place:
    """One of the person's places; PermissionDenied for any other."""
    for place in places_for(user):
        if place.key == key:
            return place
    raise PermissionDenied("You bring no files into that trial or study.")
