"""Database constraints said the same way in every app."""

from django.db.models import CheckConstraint, Q

TOO_LARGE = 1e7  # also shuts out NaN and infinity, which PostgreSQL sorts above every number


def positive(*fields: str) -> list[CheckConstraint]:
    """Each field is NULL or a finite number above zero."""
    return [
        CheckConstraint(
            condition=Q(**{f"{f}__isnull": True}) | Q(**{f"{f}__gt": 0, f"{f}__lt": TOO_LARGE}),
            name=f"%(app_label)s_%(class)s_{f}_positive",
            violation_error_message=f"{f} must be above zero.",
        )
        for f in fields
    ]


def not_negative(*fields: str) -> list[CheckConstraint]:
    """Each field is NULL or a finite number of at least zero."""
    return [
        CheckConstraint(
            condition=Q(**{f"{f}__isnull": True}) | Q(**{f"{f}__gte": 0, f"{f}__lt": TOO_LARGE}),
            name=f"%(app_label)s_%(class)s_{f}_not_negative",
            violation_error_message=f"{f} must not be below zero.",
        )
        for f in fields
    ]


def filled(*fields: str) -> list[CheckConstraint]:
    """Each text field holds something."""
    return [
        CheckConstraint(condition=~Q(**{f: ""}), name=f"%(app_label)s_%(class)s_{f}_filled") for f in fields
    ]
