"""What awaits a person, by role: counts with the page where each is dealt with."""

from collections.abc import Callable
from dataclasses import dataclass, field
from urllib.parse import urlencode

from django.urls import reverse

from grading.links import boards_url
from grading.queries import current_rule_sets, rule_sets_in_use
from portal import access
from portal.models import Role, Upload, User
from portal.uploads.queries import waiting_count
from reports import study_pictures
from reports.queries import study_recovery
from reports.study_pictures import Picture
from sawing.links import study_url
from sawing.models import Board, Study
from trials.models import Trial
from trials.queries import sites_of


@dataclass(frozen=True)
class Waiting:
    """A count that asks for somebody, or simply tells."""

    label: str
    count: int
    url: str = ""
    note: str = ""


@dataclass(frozen=True)
class StudyPicture:
    """Recovery by clone of one study, with its page."""

    study: Study
    picture: Picture
    url: str


@dataclass(frozen=True)
class Section:
    """One role of a person in one trial: what awaits them there, and the one thing to do next."""

    role: str
    trial: str
    waiting: list[Waiting] = field(default_factory=list)
    actions: list[tuple[str, str]] = field(default_factory=list)
    cautions: tuple[str, ...] = ()
    pictures: list[StudyPicture] = field(default_factory=list)
    files: list[Upload] = field(default_factory=list)


def sections_for(user: User) -> list[Section]:
    """A section for each role of the person, in the order of the roles."""
    if user.is_superuser:
        return [_MAKERS[Role.MANAGER](t) for t in Trial.objects.all()]
    order = list(Role.values)
    held = sorted(access.memberships(user), key=lambda m: order.index(m.role))
    return [_MAKERS[m.role](m.trial) for m in held]


def _field_crew(trial: Trial) -> Section:
    waiting = [
        Waiting(
            f"Trees on {site.name or site.code}",
            site.n_trees,
            reverse("trials:site", args=[trial.code, site.code]),
            f"{site.n_felled} felled" if site.n_felled else "",
        )
        for site in sites_of(trial)
    ]
    actions = [
        ("Measure in the stand", reverse("trials:field")),
        ("All trees of the trial", reverse("trials:trial_trees", args=[trial.code])),
    ]
    return Section("Field crew", trial.name, waiting, actions, ("C1",))


def _mill(trial: Trial) -> Section:
    waiting, actions = [], []
    for study in trial.studies.all():
        without = study.logs.filter(boards__isnull=True).count()
        waiting += [
            Waiting(
                "Logs measured", study.logs.count(), reverse("sawing:logs", args=[trial.code, study.code])
            ),
            Waiting("Logs without boards", without, reverse("sawing:logs", args=[trial.code, study.code])),
            Waiting("Boards in the tally", study.boards.count(), boards_url(study)),
            _held(trial, study),
        ]
        actions += [
            ("Bring a tally of boards", bring("boards", trial, study)),
            ("Bring log measurements", bring("logs", trial, study)),
        ]
    return Section(
        "Mill staff", trial.name, waiting, actions, ("C2",), files=_latest(trial, "logs", "boards")
    )


def _grader(trial: Trial) -> Section:
    waiting, actions = [], []
    for study in trial.studies.all():
        boards = study.boards.count()
        for rule_set in rule_sets_in_use(study) or current_rule_sets():
            graded = rule_set.board_grades.filter(board__study=study).count()
            waiting.append(
                Waiting(f"Not graded: {rule_set.title}", boards - graded, boards_url(study), f"of {boards}")
            )
        waiting.append(_held(trial, study))
        actions.append(("Bring grades", bring("grades", trial, study)))
    return Section("Grader", trial.name, waiting, actions, ("C5",), files=_latest(trial, "grades"))


def _researcher(trial: Trial) -> Section:
    offered = Board.objects.filter(study__trial=trial, state="available").count()
    waiting = [Waiting("Boards on offer", offered, reverse("grading:boards"))]
    return Section(
        "Researcher", trial.name, waiting, [("See the boards on offer", reverse("grading:boards"))], ("C13",)
    )


def _manager(trial: Trial) -> Section:
    waiting = [
        Waiting("Sites", trial.sites.count(), reverse("reports:trial", args=[trial.code])),
        Waiting("Clones", trial.clones.count(), reverse("reports:trial_clones", args=[trial.code])),
        Waiting("Trees planted", trial.trees.count(), reverse("trials:trial_trees", args=[trial.code])),
    ]
    actions, pictures = [], []
    clones = {c.code: c for c in trial.clones.all()}
    for study in trial.studies.all():
        waiting += [
            Waiting("Boards", study.boards.count(), boards_url(study), study.name),
            _held(trial, study),
        ]
        result = study_recovery(study)
        if result.total.boards:
            pictures.append(
                StudyPicture(
                    study, study_pictures.recovery(result, clones, f"recovery-{study.pk}"), study_url(study)
                )
            )
        actions.append((f"Recovery and value: {study.name}", study_url(study)))
    actions.append(("Bring a file", reverse("portal:bring_file")))
    actions.append(("People", f"{reverse('portal:people')}#trial-{trial.code}"))
    cautions = ("C10",) if pictures else ()
    return Section("Manager", trial.name, waiting, actions, cautions, pictures, _latest(trial))


_MAKERS: dict[str, Callable[[Trial], Section]] = {
    Role.FIELD_CREW: _field_crew,
    Role.MILL: _mill,
    Role.GRADER: _grader,
    Role.RESEARCHER: _researcher,
    Role.MANAGER: _manager,
}


def bring(kind: str, trial: Trial, study: Study | None = None) -> str:
    """Address of the page that takes a file of this kind into a trial or study."""
    place = f"{trial.code}/{study.code}" if study else trial.code
    return f"{reverse('portal:bring_file')}?{urlencode({'kind': kind, 'place': place})}"


def _latest(trial: Trial, *kinds: str) -> list[Upload]:
    """The latest stored files of these kinds (of all kinds when none is named)."""
    files = Upload.objects.filter(trial=trial, state="stored").select_related("by").order_by("-stored_at")
    return list((files.filter(kind__in=kinds) if kinds else files)[:4])


def _held(trial: Trial, study: Study) -> Waiting:
    return Waiting("Held rows to mend", waiting_count(trial.pk, study.pk), reverse("portal:files"))
