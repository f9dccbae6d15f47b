"""Addresses of this room's pages, for tables and pictures."""

from django.urls import reverse

from sawing.models import Study


def study_url(study: Study) -> str:
    """The study's page; it stands in the room of figures."""
    return reverse("reports:study", args=[study.trial.code, study.code])


def log_url(study: Study, code: str) -> str:
    return reverse("sawing:log", args=[study.trial.code, study.code, code])


def felling_url(study: Study, tree: str) -> str:
    """The page of a felled tree's stem."""
    return reverse("sawing:felling", args=[study.trial.code, study.code, tree])


def board_url(study: Study, code: str) -> str:
    """The board's page; it stands in the room of grades."""
    return reverse("grading:board", args=[study.trial.code, study.code, code])
