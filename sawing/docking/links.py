"""Addresses of docking."""

from django.urls import reverse

from sawing.models import ScenarioTable, Study


def dock_url(study: Study, page: str = "dock") -> str:
    """A page of docking of the study: "dock", "dock_trace", "dock_compare" or "dock_scenarios"."""
    return reverse(f"sawing:{page}", args=[study.trial.code, study.code])


def flitch_url(study: Study, pk: int) -> str:
    """The page of a flitch."""
    return reverse("sawing:dock_flitch", args=[study.trial.code, study.code, pk])


def table_url(table: ScenarioTable) -> str:
    """The page of a table of scenarios."""
    study = table.study
    return reverse("sawing:dock_scenario_table", args=[study.trial.code, study.code, table.pk])
