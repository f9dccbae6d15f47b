"""Traits of a trial: what is measured, how, and within which limits."""

import tomllib
from typing import Any

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import transaction

from portal import access
from portal.models import Role, User
from trials.calc.trait_rules import trait_problems
from trials.models import Trait, Trial

DEFAULTS = settings.BASE_DIR / "fixtures" / "traits.toml"
FIXED_WITH_VALUES = ("code", "kind", "unit")
FIELDS = (
    "name",
    "kind",
    "unit",
    "minimum",
    "maximum",
    "decimals",
    "points",
    "method",
    "instrument",
    "shrinks",
    "position",
    "active",
)


def add_trait(*, trial: Trial, code: str, name: str, by: User, **fields: Any) -> Trait:
    """Add a trait to a trial's dictionary. Managers only.

    :param code: the column name in files of measurements, e.g. "dbh_mm".
    :param fields: any of FIELDS; `points` is [{"value": 1, "text": "straight"}, …].
    :raises ValidationError: by field, for each thing that will not do.
    """
    access.require(by, trial.pk, [Role.MANAGER])
    with transaction.atomic():
        Trial.objects.select_for_update(no_key=True).get(pk=trial.pk)
        if "position" not in fields:
            last = trial.traits.order_by("-position").first()
            fields["position"] = last.position + 1 if last else 0
        trait = Trait(trial=trial, code=code, name=name, **fields)
        _require_sound(trait)
        trait.save()
        return trait


def change_trait(*, trait: Trait, by: User, **fields: Any) -> Trait:
    """Change how a trait is described; its code stays. What stood there before stays in the history.

    Kind and unit stay too once there are entries: values would change their meaning. Managers only.

    :raises ValidationError: by field, for each thing that will not do.
    """
    access.require(by, trait.trial_id, [Role.MANAGER])
    with transaction.atomic():
        trait = Trait.objects.select_for_update(no_key=True).get(pk=trait.pk)
        if unknown := set(fields) - set(FIELDS):
            raise ValidationError(f"Not to be changed: {', '.join(sorted(unknown))}.")
        changed = {n for n in FIXED_WITH_VALUES if n in fields and fields[n] != getattr(trait, n)}
        if changed and trait.entries.exists():
            raise ValidationError(
                dict.fromkeys(changed, "There are entries of this trait: their meaning must not change.")
            )
        for name, value in fields.items():
            setattr(trait, name, value)
        _require_sound(trait)
        trait.save()
        return trait


def add_default_traits(*, trial: Trial, by: User) -> list[Trait]:
    """Add the usual traits of fixtures/traits.toml that the trial has not got yet; those there stay as they are.

    :returns: the traits added.
    """
    access.require(by, trial.pk, [Role.MANAGER])
    with transaction.atomic():
        there = {code.lower() for code in trial.traits.values_list("code", flat=True)}
        return [
            add_trait(trial=trial, by=by, **described)
            for described in default_traits()
            if described["code"].lower() not in there
        ]


def default_traits() -> list[dict[str, Any]]:
    """The usual traits as they stand in the file, in order."""
    return list(tomllib.loads(DEFAULTS.read_text(encoding="utf-8"))["traits"])


def _require_sound(trait: Trait) -> None:
    """Every problem at once, by field."""
    problems = trait_problems(
        code=trait.code,
        kind=trait.kind,
        minimum=trait.minimum,
        maximum=trait.maximum,
        decimals=trait.decimals,
        points=trait.points,
    )
    if trait.trial.traits.filter(code__iexact=trait.code).exclude(pk=trait.pk).exists():
        problems["code"] = "There is a trait of this code already; capital letters make no difference."
    if not trait.name.strip():
        problems["name"] = "A trait needs a name."
    if problems:
        raise ValidationError(problems)
    trait.full_clean(exclude=["trial"], validate_unique=False, validate_constraints=False)
