"""Load the invented demo scenario through the same doors as people use. Running it again adds nothing."""

import json
import os
import secrets
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pghistory
from django.conf import settings

from grading.calc.rule_set_documents import RuleSetDocument, read_rule_sets
from grading.models import RuleSet
from grading.rules.actions import add_rule_set
from portal.models import Membership, Role, Upload, User
from portal.uploads.actions import check_upload, store_upload
from portal.uploads.registry import Target, kind_named
from reports.demo_drying import build_late_stack, build_stacks, take_down_stacks
from reports.demo_grading import agree_on_a_sample
from reports.demo_labels import record_labels
from reports.demo_planning import plan_duties, record_stems
from sawing.actions import create_study, offer_boards
from sawing.models import Study
from trials.actions import create_trial, describe_site
from trials.entries.actions import add_default_traits, close_assessment, open_assessment
from trials.models import Assessment, Trial

FIXTURES = Path(settings.BASE_DIR) / "fixtures"
UPLOADER = {
    "clones": "manager",
    "layout": "manager",
    "measurements": "field_crew",
    "logs": "mill",
    "boards": "mill",
    "moisture": "mill",
    "prices": "manager",
}
STUDY_FIELDS = (
    "mill",
    "purpose",
    "drying_plan",
    "felled_on",
    "sawn_on",
    "headsaw_kerf_mm",
    "edger_kerf_mm",
    "widths_mm",
    "crosscut_module_mm",
    "log_volume_formula",
)


@dataclass(frozen=True)
class SignIn:
    """One way into the demo."""

    role: str
    username: str
    password: str


@dataclass(frozen=True)
class Brought:
    """A file of the demo: its upload, and whether this run stored it."""

    upload: Upload
    now: bool


def load_demo(folder: Path = FIXTURES / "demo") -> tuple[Study, list[Brought], list[SignIn]]:
    """Make the demo's people, trial and study, and bring its files.

    :returns: the study, the files in order, and a sign-in for each role.
    """
    plan = tomllib.loads((folder / "trial.toml").read_text(encoding="utf-8"))
    passwords = _passwords()
    steward = _person("steward", "Steward of the demo", "steward@example.org", passwords, steward=True)
    with pghistory.context(user=steward.pk, command="demo"):
        for document in read_rule_sets(FIXTURES / "rule_sets"):
            load_rule_set(document, steward)
        trial = Trial.objects.filter(code=plan["trial"]["code"]).first() or create_trial(
            **plan["trial"], by=steward
        )
        people = {p["role"]: _member(p, trial, passwords) for p in plan["people"]}
    manager = people["manager"]
    with pghistory.context(user=manager.pk, command="demo"):
        study = _study(plan["study"], trial, manager)
    brought = []
    for kind, name in plan["files"].items():
        if kind == "measurements":
            _open_assessments(plan["assessments"], trial, people, closed=True)
        if kind == "moisture":
            build_stacks(plan, folder, study, people["mill"])
        brought.append(_bring(folder / name, kind, trial, study, people))
        if kind == "moisture":
            take_down_stacks(plan, folder, study, people["mill"])
            build_late_stack(plan, study, people["mill"])
    _open_assessments(plan["assessments"], trial, people, closed=False)
    plan_duties(plan, study, people)
    record_stems(folder, study, people["field_crew"])
    with pghistory.context(user=people["mill"].pk, command="demo"):
        record_labels(study, people["mill"])
    with pghistory.context(user=manager.pk, command="demo"):
        for site in plan["sites"]:
            describe_site(trial=trial, by=manager, **site)
        every_fifth = list(study.boards.order_by("code").values_list("code", flat=True))[::5]
        offer_boards(study=study, by=manager, codes=every_fifth)
    agree_on_a_sample(study, people["grader"], manager)
    sign_ins = [
        SignIn(str(Role(role).label), u.username, passwords[u.username]) for role, u in people.items()
    ]
    return study, brought, [*sign_ins, SignIn("Steward", "steward", passwords["steward"])]


def load_rule_set(document: RuleSetDocument, by: User) -> RuleSet:
    """Add the rule set of a document, or a new version of it when the document has changed."""
    content = document.content
    return add_rule_set(
        code=document.code,
        title=document.title,
        grades=list(document.grades),
        by=by,
        purpose=content.get("purpose", "other"),
        origin=content.get("origin", ""),
        caution=content.get("caution", ""),
        rules=content,
    )


def _study(plan: dict[str, Any], trial: Trial, manager: User) -> Study:
    found = Study.objects.filter(trial=trial, code=plan["code"]).first()
    fields = {k: plan[k] for k in STUDY_FIELDS if k in plan}
    return found or create_study(trial=trial, code=plan["code"], name=plan["name"], by=manager, **fields)


def _open_assessments(
    plans: list[dict[str, Any]], trial: Trial, people: dict[str, User], closed: bool
) -> None:
    """Open the assessments to be closed before their file comes; close these and open the other one after it."""
    manager = people["manager"]
    with pghistory.context(user=manager.pk, command="demo"):
        add_default_traits(trial=trial, by=manager)
        if not closed:
            for done in Assessment.objects.filter(site__trial=trial, name__in=_names(plans, closed=True)):
                close_assessment(assessment=done, by=manager)
        traits = {t.code: t for t in trial.traits.all()}
        for plan in plans:
            site = trial.sites.get(code=plan["site"])
            if plan["closed"] == closed and not site.assessments.filter(name=plan["name"]).exists():
                open_assessment(
                    site=site,
                    name=plan["name"],
                    measured_from=plan["measured_from"],
                    traits=[traits[code] for code in plan["traits"]],
                    crew=[people["field_crew"]],
                    note=plan["note"],
                    by=manager,
                )


def _names(plans: list[dict[str, Any]], closed: bool) -> list[str]:
    return [plan["name"] for plan in plans if plan["closed"] == closed]


def _bring(path: Path, kind: str, trial: Trial, study: Study, people: dict[str, User]) -> Brought:
    target = Target(trial, study if kind_named(kind).scope == "study" else None)
    by = people[UPLOADER.get(kind, "grader")]
    with pghistory.context(user=by.pk, command="demo"):
        upload = check_upload(
            kind_name=kind, target=target, file_name=path.name, data=path.read_bytes(), by=by
        )
        now = upload.state != "stored"
        return Brought(store_upload(upload_id=upload.pk, by=by), now)


def _member(person: dict[str, Any], trial: Trial, passwords: dict[str, str]) -> User:
    username = person["name"].split()[0].lower()
    user = _person(username, person["name"], person["email"], passwords)
    Membership.objects.get_or_create(user=user, trial=trial, role=person["role"])
    return user


def _person(
    username: str, full_name: str, email: str, passwords: dict[str, str], steward: bool = False
) -> User:
    user = User.objects.filter(username=username).first()
    if user is None:
        user = User(
            username=username, full_name=full_name, email=email, is_superuser=steward, is_staff=steward
        )
    password = passwords.setdefault(username, secrets.token_urlsafe(9))
    _keep(passwords)
    if not user.check_password(password):
        user.set_password(password)
        user.save()
    return user


def _passwords() -> dict[str, str]:
    path = Path(settings.HOME) / "demo_sign_ins.json"
    return dict(json.loads(path.read_text())) if path.exists() else {}


def _keep(passwords: dict[str, str]) -> None:
    """Demo passwords are made here, kept beside the demo database, readable by its owner only."""
    path = Path(settings.HOME) / "demo_sign_ins.json"
    path.parent.mkdir(parents=True, exist_ok=True)
    path.touch(mode=0o600)
    os.chmod(path, 0o600)
    path.write_text(json.dumps(passwords))
