"""What planning puts on other pages: the links of a study, and its progress as a picture."""

from dataclasses import dataclass

from django.urls import NoReverseMatch, reverse

from portal.calc.svg import NARROW, WIDE
from sawing.calc.picture_progress import StageBar, progress
from sawing.models import Study
from sawing.planning.queries import stage_bars

PAGES = (
    ("Plan", "sawing:plan"),
    ("Fellings", "sawing:fellings"),
    ("Logs", "sawing:logs"),
    ("Labels", "sawing:labels"),
    ("Tally", "sawing:tally_balance"),
    ("Dock and edge", "sawing:dock"),
    ("Drying", "sawing:drying"),
    ("Grading", "grading:grading"),
)


@dataclass(frozen=True)
class Progress:
    """The stages of a study drawn wide and narrow, and the rows of the table twin."""

    wide: str
    narrow: str
    bars: list[StageBar]


def study_links(study: Study, may_tally: bool = True) -> list[dict[str, str]]:
    """The pages of a study in the order in which its wood passes through them.

    Who does not tally is led to the balance of the tally, not to the page at the saw.
    """
    found = []
    for label, name in PAGES:
        if name == "sawing:tally" and not may_tally:
            name = "sawing:tally_balance"
        try:
            found.append({"label": label, "url": reverse(name, args=[study.trial.code, study.code])})
        except NoReverseMatch:  # a page that this portal does not have
            continue
    return found


def progress_of(study: Study) -> Progress:
    """How far a study is; three database queries."""

    def url(stage: str, which: str) -> str:
        return reverse("sawing:stage", args=[study.trial.code, study.code, stage, which])

    bars = stage_bars(study, url)
    title = f"How far is {study.name}?"

    def draw(width: int, layout: str) -> str:
        return progress(bars, name=f"progress-{layout}", title=title, width=width)

    return Progress(draw(WIDE, "wide"), draw(NARROW, "narrow"), bars)
