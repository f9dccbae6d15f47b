"""Who does what in the demo's study, and what was noted when its trees were felled."""

import csv
from pathlib import Path
from typing import Any

import pghistory

from portal.models import User
from sawing.models import Study
from sawing.planning.actions import add_duty, record_stem


def plan_duties(plan: dict[str, Any], study: Study, people: dict[str, User]) -> None:
    """Say who answers for each stage, once."""
    if study.duties.exists():
        return
    manager = people["manager"]
    with pghistory.context(user=manager.pk, command="demo"):
        for duty in plan["duties"]:
            fields = {name: value for name, value in duty.items() if name != "role"}
            add_duty(study=study, by=manager, person=people.get(duty.get("role", "")), **fields)


def record_stems(folder: Path, study: Study, crew: User) -> None:
    """Note stump and stem length of the felled trees that have no length yet; the logs have come before."""
    bare = {f.tree.code: f.tree for f in study.fellings.filter(stem_length_m=None).select_related("tree")}
    with (
        pghistory.context(user=crew.pk, command="demo"),
        (folder / "stems.csv").open(encoding="utf-8", newline="") as file,
    ):
        for row in csv.DictReader(file):
            if row["tree"] in bare:
                record_stem(
                    study=study,
                    tree=bare[row["tree"]],
                    by=crew,
                    felled_on=study.felled_on,
                    felled_by=f"{crew.full_name} and crew",
                    stump_m=float(row["stump_m"]),
                    stem_length_m=float(row["stem_length_m"]),
                    north_marked=True,
                )
