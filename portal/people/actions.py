"""Every write about people: roles given and ended, people brought in, one's own name and address."""

import secrets
from dataclasses import dataclass
from typing import Any

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.views.decorators.debug import sensitive_variables

from portal import access
from portal.models import Membership, Role, User
from portal.people import queries

LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"  # none that are taken for each other on paper
TRIES = 100
NAME_TAKEN = (
    "There is a person of this user name already; capital letters make no difference. If it is the same"
    " person, give them a role instead. If not, choose another user name."
)


@dataclass(frozen=True)
class BroughtIn:
    """A new person with the password they sign in with first. The password is kept nowhere in clear."""

    user: User
    membership: Membership
    password: str


def give_role(*, trial: Any, user: User, role: str, by: User) -> Membership:
    """Give a person a role in a trial; a role that had ended is in force again. Managers of the trial only.

    :raises ValidationError: the role is held already or not known, or the person's sign-in is closed.
    """
    with transaction.atomic():
        _lock(trial)
        access.require(by, trial.pk, [Role.MANAGER])
        if role not in Role.values:
            raise ValidationError({"role": "There is no such role: choose one of the list."})
        if not user.is_active:
            raise ValidationError(
                {"username": f"The sign-in of {user} is closed. A steward can open it; then give the role."}
            )
        held = Membership.objects.filter(user=user, trial=trial, role=role).first()
        if held and held.active:
            raise ValidationError({"role": f"{user} holds this role already. Choose another, or leave it."})
        membership = held or Membership(user=user, trial=trial, role=role)
        membership.active = True
        membership.save()
        return membership


def end_role(*, membership: Membership, by: User) -> Membership:
    """End a role; it stays on record and can be given again. Managers of the trial only.

    :raises ValidationError: it is the last manager role of the trial, which nobody could then look after.
    """
    with transaction.atomic():
        _lock(membership.trial)
        access.require(by, membership.trial_id, [Role.MANAGER])
        membership = Membership.objects.select_related("user", "trial").get(pk=membership.pk)
        if not membership.active:
            return membership
        others = queries.managers_of(membership.trial_id).exclude(pk=membership.pk)
        if membership.role == Role.MANAGER and not others.exists():
            raise ValidationError(
                f"{membership.user} is the last manager of {membership.trial}. Give somebody else the role"
                " of manager first; then this one can end."
            )
        membership.active = False
        membership.save()
        return membership


@sensitive_variables("password")
def bring_in(*, trial: Any, username: str, full_name: str, email: str, role: str, by: User) -> BroughtIn:
    """Make a sign-in for somebody new, with a password made here and a first role. Managers only.

    :raises ValidationError: by field: a user name taken or impossible, a bad address, no such role.
    """
    access.require(by, trial.pk, [Role.MANAGER])
    user = User(username=User.normalize_username(username), full_name=full_name, email=email)
    password = _first_password(user)
    user.set_password(password)
    if queries.person_named(user.username):
        raise ValidationError({"username": NAME_TAKEN})
    user.full_clean()
    try:
        with transaction.atomic():
            user.save()
            membership = give_role(trial=trial, user=user, role=role, by=by)
    except IntegrityError as error:  # somebody was quicker
        raise ValidationError({"username": NAME_TAKEN}) from error
    return BroughtIn(user, membership, password)


def change_own_details(*, user: User, full_name: str, email: str, by: User) -> User:
    """Change one's own name and e-mail address; nobody changes another person's."""
    if user.pk != by.pk:
        raise PermissionDenied("Everybody changes their own name and address.")
    with transaction.atomic():
        user = User.objects.select_for_update().get(pk=user.pk)
        user.full_name, user.email = full_name, email
        user.full_clean(exclude=["password"])
        user.save(update_fields=["full_name", "email"])
        return user


@sensitive_variables("password")
def _first_password(user: User) -> str:
    """A password for somebody new, easy to read out: four groups of four letters and digits, 79 bits.

    :raises ValidationError: the password rules of the settings take none of this kind.
    """
    for _ in range(TRIES):
        password = "-".join("".join(secrets.choice(LETTERS) for _ in range(4)) for _ in range(4))
        try:
            validate_password(password, user)
        except ValidationError:
            continue
        return password
    validate_password(password, user)
    return password


def _lock(trial: Any) -> None:
    """Roles of one trial change one at a time, so that two managers cannot end each other's at once."""
    type(trial).objects.select_for_update(no_key=True).get(pk=trial.pk)
