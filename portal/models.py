"""People, their roles, and the files they bring."""

from typing import ClassVar

from django.contrib.auth.models import AbstractUser
from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower, Now

from portal.constraints import filled, not_negative
from portal.history import tracked


class Role(models.TextChoices):
    FIELD_CREW = "field_crew", "Field crew"
    MILL = "mill", "Mill staff"
    GRADER = "grader", "Grader"
    RESEARCHER = "researcher", "Researcher"
    MANAGER = "manager", "Manager"


class User(AbstractUser):
    """A person who signs in. Superusers are stewards: they may do what a manager may, in every trial."""

    first_name = None
    last_name = None
    full_name = models.CharField(max_length=150, blank=True)

    class Meta(AbstractUser.Meta):
        constraints: ClassVar = [
            # Two people must not be told apart by capital letters alone.
            models.UniqueConstraint(
                Lower("username"),
                name="portal_user_name_once",
                violation_error_message="There is a person of this user name already: choose another.",
            ),
        ]

    def get_full_name(self) -> str:
        return self.full_name or self.username

    def get_short_name(self) -> str:
        return self.get_full_name()

    def __str__(self) -> str:
        return self.get_full_name()


@tracked
class Membership(models.Model):
    """One role of one person in one trial. A person may hold several."""

    user = models.ForeignKey(User, models.PROTECT, related_name="memberships")
    trial = models.ForeignKey("trials.Trial", models.PROTECT, related_name="memberships")
    role = models.CharField(max_length=20, choices=Role.choices)
    active = models.BooleanField(default=True)
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint("user", "trial", "role", name="portal_membership_once"),
            models.CheckConstraint(condition=Q(role__in=Role.values), name="portal_membership_role_known"),
        ]

    def __str__(self) -> str:
        return f"{self.user} as {self.get_role_display()}"


class UploadState(models.TextChoices):
    CHECKED = "checked", "Checked, waiting for your yes"
    STORED = "stored", "Stored"
    DISCARDED = "discarded", "Set aside"


@tracked
class Upload(models.Model):
    """A file that somebody brought: what it was, what became of its rows.

    `scope` names what the file belongs to ("trial" or "study:<id>"), so that the same file stored twice
    into one place is caught by a constraint.
    """

    kind = models.CharField(max_length=30)
    trial = models.ForeignKey("trials.Trial", models.PROTECT, related_name="uploads")
    study = models.ForeignKey("sawing.Study", models.PROTECT, null=True, blank=True, related_name="uploads")
    file_name = models.CharField(max_length=255)
    sha256 = models.CharField(max_length=64)
    size_bytes = models.BigIntegerField()
    content = models.FileField(upload_to="%Y/%m", max_length=255, null=True, blank=True)
    state = models.CharField(max_length=20, choices=UploadState.choices, default=UploadState.CHECKED)
    rows = models.IntegerField(default=0)
    added = models.IntegerField(default=0)
    already_there = models.IntegerField(default=0)
    held = models.IntegerField(default=0)
    notes = models.JSONField(default=list)
    by = models.ForeignKey(User, models.PROTECT, related_name="uploads")
    created_at = models.DateTimeField(db_default=Now(), editable=False)
    stored_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(
                "kind",
                "trial",
                "study",
                "sha256",
                condition=Q(state="stored"),
                nulls_distinct=False,
                name="portal_upload_same_file_stored_once",
            ),
            models.CheckConstraint(
                condition=Q(state__in=UploadState.values), name="portal_upload_state_known"
            ),
            *filled("kind", "file_name", "sha256"),
            *not_negative("size_bytes", "rows", "added", "already_there", "held"),
        ]
        indexes: ClassVar = [models.Index(fields=["trial", "-created_at"])]

    def __str__(self) -> str:
        return self.file_name

    @property
    def kilobytes(self) -> float:
        return self.size_bytes / 1000


class HeldState(models.TextChoices):
    WAITING = "waiting", "Waiting"
    STORED = "stored", "Mended and stored"
    REPLACED = "replaced", "Stored in place of the earlier values"
    SET_ASIDE = "set_aside", "Set aside"


@tracked
class HeldRow(models.Model):
    """A row of a file that could not be stored: kept as it came, with its reasons, until somebody settles it."""

    upload = models.ForeignKey(Upload, models.PROTECT, related_name="held_rows")
    row_number = models.IntegerField()
    values = models.JSONField()
    problems = models.JSONField()
    differs = models.BooleanField(
        default=False, help_text="The row is sound but the portal already holds other values for its code."
    )
    state = models.CharField(max_length=20, choices=HeldState.choices, default=HeldState.WAITING)
    settled_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="+")
    settled_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint("upload", "row_number", name="portal_heldrow_once"),
            models.CheckConstraint(
                condition=Q(state__in=HeldState.values), name="portal_heldrow_state_known"
            ),
            models.CheckConstraint(
                condition=Q(state="waiting", settled_at__isnull=True)
                | (~Q(state="waiting") & Q(settled_at__isnull=False)),
                name="portal_heldrow_settled_has_a_date",
            ),
        ]
        indexes: ClassVar = [
            models.Index(fields=["upload"], condition=Q(state="waiting"), name="portal_heldrow_waiting")
        ]

    def __str__(self) -> str:
        return f"{self.upload} row {self.row_number}"


class JobState(models.TextChoices):
    WAITING = "waiting", "Waiting"
    RUNNING = "running", "Running"
    DONE = "done", "Done"
    FAILED = "failed", "Failed"
    STOPPED = "stopped", "Stopped"


class Job(models.Model):
    """Long work that somebody asked for: how far it is, and what came of it. The queue itself keeps its own tables.

    `kind` names a function in the register of `portal.jobs`; `parameters` is all it is given. No history is kept:
    a job changes many times a minute and says itself who asked for it and when it ran.
    """

    kind = models.CharField(max_length=40)
    title = models.CharField(max_length=200)
    trial = models.ForeignKey("trials.Trial", models.PROTECT, null=True, blank=True, related_name="jobs")
    parameters = models.JSONField(default=dict, blank=True)
    link = models.CharField(max_length=400, blank=True, help_text="Page that shows what came of it.")
    state = models.CharField(max_length=10, choices=JobState.choices, default=JobState.WAITING)
    done = models.BigIntegerField(db_default=0, default=0)
    total = models.BigIntegerField(db_default=0, default=0)
    step = models.CharField(max_length=200, blank=True)
    result = models.JSONField(null=True, blank=True)
    problem = models.TextField(blank=True)
    attempts = models.IntegerField(db_default=0, default=0)
    stop_asked = models.BooleanField(db_default=False, default=False)
    by = models.ForeignKey(User, models.PROTECT, related_name="jobs")
    created_at = models.DateTimeField(db_default=Now(), editable=False)
    started_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering: ClassVar = ["-pk"]
        constraints: ClassVar = [
            models.CheckConstraint(condition=Q(state__in=JobState.values), name="portal_job_state_known"),
            models.CheckConstraint(
                condition=Q(state__in=["waiting", "running"], ended_at__isnull=True)
                | (~Q(state__in=["waiting", "running"]) & Q(ended_at__isnull=False)),
                name="portal_job_ended_has_a_date",
            ),
            *filled("kind", "title"),
            *not_negative("done", "total"),
        ]
        indexes: ClassVar = [models.Index(fields=["trial", "-created_at"], name="portal_job_of_trial")]

    def __str__(self) -> str:
        return self.title

    @property
    def ended(self) -> bool:
        return self.ended_at is not None

    @property
    def share(self) -> float | None:
        """Share done, 0 to 1; None while the length of the work is unknown."""
        return min(1.0, self.done / self.total) if self.total else None
