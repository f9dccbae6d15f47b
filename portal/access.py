"""Who may do what. Roles are held per trial; stewards (superusers) may do what managers may, everywhere."""

from collections.abc import Iterable

from django.core.exceptions import PermissionDenied
from django.db.models import QuerySet

from portal.models import Membership, Role, User

INSIDE: frozenset[str] = frozenset({Role.FIELD_CREW, Role.MILL, Role.GRADER, Role.MANAGER})
"""Roles that see everything of a trial. Researchers from other projects see available boards only."""


def roles_in(user: User, trial_id: int) -> frozenset[str]:
    """The active roles of a person in one trial."""
    if user.is_superuser:
        return frozenset(Role.values)
    return frozenset(
        Membership.objects.filter(user=user, trial_id=trial_id, active=True).values_list("role", flat=True)
    )


def may(user: User, trial_id: int, roles: Iterable[str]) -> bool:
    """Whether the person holds one of the roles in the trial."""
    return user.is_active and not roles_in(user, trial_id).isdisjoint(set(roles))


def require(user: User, trial_id: int, roles: Iterable[str]) -> None:
    """Raise PermissionDenied unless the person holds one of the roles in the trial."""
    wanted = list(roles)
    if not may(user, trial_id, wanted):
        names = ", ".join(str(Role(r).label).lower() for r in sorted(wanted))
        raise PermissionDenied(f"This needs one of these roles in the trial: {names}.")


def works_inside(user: User) -> bool:
    """Whether the person holds a role that sees the inside of any trial."""
    return user.is_superuser or Membership.objects.filter(user=user, active=True, role__in=INSIDE).exists()


def memberships(user: User) -> QuerySet[Membership]:
    """The active memberships of a person, trials fetched along."""
    return Membership.objects.filter(user=user, active=True).select_related("trial")


def trial_ids(user: User, roles: Iterable[str] = INSIDE) -> QuerySet[Membership] | None:
    """Ids of the trials in which the person holds one of the roles, as a subquery; None means all of them."""
    if user.is_superuser:
        return None
    return memberships(user).filter(role__in=list(roles)).values("trial_id")
