"""Making and closing blind samples."""

from django.db import IntegrityError, transaction
from django.utils import timezone

from grading.agreement import queries
from grading.calc.sample_drawing import draw_boards
from grading.graders import GRADERS
from grading.models import GradingSample, RuleSet, SampleBoard
from portal import access
from portal.models import Role, User
from sawing.models import Study


class SampleRefused(Exception):
    """A sample cannot be made so; the message says why."""


def make_sample(
    *, study: Study, rule_set: RuleSet, title: str, count: int, seed: int, by: User, note: str = ""
) -> GradingSample:
    """Draw boards for a blind sample, spread over the grades on record.

    :raises SampleRefused: too many boards, a title that is taken.
    """
    access.require(by, study.trial_id, GRADERS)
    known = queries.recorded(study, rule_set)
    try:
        drawn = draw_boards(known, count, seed, list(rule_set.grades.values_list("code", flat=True)))
        with transaction.atomic():
            sample = GradingSample.objects.create(
                study=study, rule_set=rule_set, title=title, seed=seed, note=note, by=by
            )
            boards = {b.code: b for b in study.boards.filter(code__in=drawn)}
            SampleBoard.objects.bulk_create(
                SampleBoard(sample=sample, board=boards[code], study=study) for code in drawn
            )
    except ValueError as why:
        raise SampleRefused(f"{str(why)[0].upper()}{str(why)[1:]}.") from None
    except IntegrityError:
        raise SampleRefused(f"There is a sample called {title!r} already.") from None
    return sample


def close_sample(*, sample: GradingSample, by: User) -> None:
    """End a sample and its open sittings: from now on everybody sees what came out."""
    access.require(by, sample.study.trial_id, [Role.MANAGER])
    with transaction.atomic():
        found = GradingSample.objects.select_for_update().get(pk=sample.pk)
        if found.closed_at is None:
            found.closed_at = timezone.now()
            found.save(update_fields=["closed_at"])
            for session in found.sessions.filter(closed_at__isnull=True):
                session.closed_at = timezone.now()
                session.save(update_fields=["closed_at"])
