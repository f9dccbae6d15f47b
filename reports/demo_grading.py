"""A blind sample of the demo, by the same doors as people use."""

import numpy as np
import pghistory

from grading.agreement.actions import close_sample, make_sample
from grading.bench.actions import keep_blind_grade, start_session
from grading.models import RuleSet
from portal.models import User
from sawing.models import Study

SEED = 1994
SAMPLE, DRAWN = "Summer sample", 24
OTHERWISE = 0.2
"""How often the two of the demo give the next grade instead of the one on record."""


def agree_on_a_sample(study: Study, grader: User, manager: User) -> None:
    """A blind sample graded by two people who do not always agree, closed; once."""
    if study.grading_samples.filter(title=SAMPLE).exists():
        return
    rule_set = RuleSet.objects.get(code="trial_appearance", current=True)
    order = list(rule_set.grades.values_list("code", flat=True))
    with pghistory.context(user=manager.pk, command="demo"):
        sample = make_sample(study=study, rule_set=rule_set, title=SAMPLE, count=DRAWN, seed=SEED, by=manager)
    for number, person in enumerate((grader, manager)):
        rng = np.random.default_rng([SEED, number])
        with pghistory.context(user=person.pk, command="demo"):
            session = start_session(study=study, rule_sets=[], by=person, sample=sample)
            for drawn in sample.boards.select_related("board__study"):
                known = drawn.board.grades.get(rule_set=rule_set).grade.code
                step = int(rng.choice([-1, 1])) if rng.uniform() < OTHERWISE else 0
                grade = order[min(max(order.index(known) + step, 0), len(order) - 1)]
                keep_blind_grade(session=session, board=drawn.board, grade=grade, by=person)
    with pghistory.context(user=manager.pk, command="demo"):
        close_sample(sample=sample, by=manager)
