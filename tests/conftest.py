"""Personas and a small trial that most tests share."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import hypothesis
import pytest
from django.db import transaction
from django.test import override_settings

from grading.rules.actions import add_rule_set
from portal.models import Membership, Role, User
from portal.uploads.actions import check_upload, store_upload
from portal.uploads.registry import Target
from sawing.actions import create_study
from sawing.models import Study
from trials.actions import create_trial
from trials.models import Trial

CLONES = "clone,kind\nK1,hybrid\nK2,hybrid\nP1,parent species\n"
LAYOUT = (
    "site,block,plot,clone,tree,row,col\n"
    "S,1,1,K1,S-1-1,1,1\nS,1,2,K2,S-1-2,1,2\nS,2,3,P1,S-2-1,2,1\nS,2,4,K1,S-2-2,2,2\n"
)
LOGS = (
    "log,tree,bottom_m,length_m,sed1_mm,led1_mm\n"
    "L1,S-1-1,0.3,3.0,300,330\nL2,S-2-2,0.3,3.0,250,280\nL3,S-1-2,0.3,4.0,280,320\n"
)
BOARDS = (
    "board,log,thickness_mm,width_mm,length_m,flitch\n"
    "B1,L1,28,200,3,1\nB2,L1,28,220,3,2\nB3,L1,28,180,2.4,3\n"
    "B4,L2,28,150,3,1\nB5,L2,28,170,3,2\nB6,L3,28,230,4,1\nB7,L3,28,250,4,2\n"
)
GRADES = (
    "board,rule_set,grade,graded_length_m,graded_width_mm\n"
    "B1,look,Fine,2.7,200\nB2,look,Plain,,\nB4,look,Fine,3,140\nB6,look,Out,,\n"
)
PRICES = (
    "rule_set,grade,price_per_m3,min_width_mm,max_width_mm,currency\n"
    "look,Fine,300,,200,EUR\nlook,Fine,400,200,,EUR\nlook,Plain,200,,,EUR\nlook,Out,0,,,EUR\n"
)


def pytest_configure(config: pytest.Config) -> None:
    """Passwords of personas need no strength; hashing them well would take most of the run."""
    from django.conf import settings

    # How long an example takes says more of the machine than of the code; timings live in benchmarks.
    hypothesis.settings.register_profile("house", deadline=None)
    hypothesis.settings.load_profile("house")
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


@dataclass
class Place:
    """A small trial with a study and its people."""

    trial: Trial
    study: Study
    people: dict[str, User]
    media: Path | None = None

    def fresh(self) -> "Place":
        """The same place read anew from the database."""
        people = {name: User.objects.get(pk=user.pk) for name, user in self.people.items()}
        study = Study.objects.select_related("trial").get(pk=self.study.pk)
        return Place(study.trial, study, people, self.media)

    def target(self, kind: str) -> Target:
        return Target(
            self.trial, None if kind in ("clones", "layout", "measurements", "prices") else self.study
        )

    def bring(self, kind: str, data: str | bytes, name: str = "", by: str = "manager") -> Any:
        """Check and store a file; returns the upload."""
        raw = data.encode() if isinstance(data, str) else data
        upload = check_upload(
            kind_name=kind,
            target=self.target(kind),
            file_name=name or f"{kind}.csv",
            data=raw,
            by=self.people[by],
        )
        return store_upload(upload_id=upload.pk, by=self.people[by])


PASSWORD = "larch and rain 12"


def make_steward() -> User:
    return User.objects.create_user("steward", password=PASSWORD, is_superuser=True)


def make_place(steward: User) -> Place:
    trial = create_trial(code="small", name="Small trial", by=steward)
    people = {"steward": steward, "stranger": User.objects.create_user("stranger", password=PASSWORD)}
    for role in Role.values:
        people[role] = User.objects.create_user(role, password=PASSWORD, full_name=f"The {role}")
        Membership.objects.create(user=people[role], trial=trial, role=role)
    study = create_study(
        trial=trial, code="first", name="First study", by=people["manager"], headsaw_kerf_mm=4.0
    )
    add_rule_set(
        code="look",
        title="Looks",
        grades=[{"code": "Fine"}, {"code": "Plain"}, {"code": "Out", "reject": True}],
        by=steward,
        purpose="appearance",
    )
    return Place(trial, study, people)


def bring_material(place: Place) -> None:
    for kind, data in (
        ("clones", CLONES),
        ("layout", LAYOUT),
        ("logs", LOGS),
        ("boards", BOARDS),
        ("grades", GRADES),
        ("prices", PRICES),
    ):
        upload = place.bring(kind, data)
        assert upload.held == 0, upload.held_rows.values_list("problems", flat=True)


@pytest.fixture
def steward(db: None) -> User:
    return make_steward()


@pytest.fixture
def place(steward: User, settings: Any, tmp_path: Any) -> Place:
    """Trial and study without material; one person per role, and a stranger."""
    settings.MEDIA_ROOT = tmp_path
    return make_place(steward)


@pytest.fixture
def full(place: Place) -> Place:
    """The same with its material: 4 trees, 3 logs, 7 boards, grades and prices."""
    bring_material(place)
    return place


@contextmanager
def rolled_back_at_the_end(blocker: Any) -> Iterator[None]:
    """A transaction around all tests of a module; each test's own is a savepoint in it."""
    with blocker.unblock():
        outer = transaction.atomic()
        outer.__enter__()
    try:
        yield
    finally:
        with blocker.unblock():
            transaction.set_rollback(True)
            outer.__exit__(None, None, None)


@pytest.fixture(scope="module")
def material_of_module(
    django_db_setup: None, django_db_blocker: Any, tmp_path_factory: Any
) -> Iterator[Place]:
    """What `full` gives, made once for a module; do not mix with `place` or `full` in one module."""
    with rolled_back_at_the_end(django_db_blocker):
        media = tmp_path_factory.mktemp("media")
        with django_db_blocker.unblock(), override_settings(MEDIA_ROOT=media):
            place = make_place(make_steward())
            bring_material(place)
        place.media = media
        yield place


@pytest.fixture
def material(material_of_module: Place, db: None, settings: Any) -> Place:
    """The module's place as this test finds it; what a test changes is undone after it."""
    settings.MEDIA_ROOT = material_of_module.media
    return material_of_module.fresh()
