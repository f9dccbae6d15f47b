"""The database refuses what cannot stand in a trial: codes twice, trees across trials, unknown words."""

import uuid
from datetime import UTC, datetime
from typing import Any

import pytest

from portal.models import Role
from tests.conftest import Place
from tests.refusals import (
    NOT_POSITIVE,
    Attempt,
    insert,
    numbers_refused,
    one,
    refused,
    rules_named,
    rules_of,
    update,
)
from tests.trials.crews import Phone, looked_at, open_spring
from trials.actions import create_trial
from trials.models import (
    MOST_PHOTO_BYTES,
    Assessment,
    AssessmentTrait,
    Block,
    Clone,
    Entry,
    HeldEntry,
    Photo,
    Plot,
    SettledCheck,
    Site,
    Trait,
    Tree,
    Trial,
)

NOW = datetime(2026, 1, 1, tzinfo=UTC)
NAN, INFINITY = float("nan"), float("inf")

NUMBERS = numbers_refused(Trial, "positive", "breast_height_m", NOT_POSITIVE)


def other_trial(place: Place) -> Trial:
    """A second trial with a site, block, plot and clone of its own."""
    trial = create_trial(code="other", name="Other trial", by=place.people["steward"])
    site = Site.objects.create(trial=trial, code="X")
    Plot.objects.create(block=Block.objects.create(site=site, code="1"), code="1")
    Clone.objects.create(trial=trial, code="Z9")
    return trial


def of_the_other(place: Place, model: type[Any]) -> Any:
    trial = Trial.objects.filter(code="other").first() or other_trial(place)
    path = {Site: "trial", Clone: "trial", Block: "site__trial", Plot: "block__site__trial"}[model]
    return model.objects.get(**{path: trial})


def tree_on_a_foreign_site(p: Place) -> None:
    site, plot = of_the_other(p, Site), of_the_other(p, Plot)
    insert(Tree, code="NEW", row=90, col=90, site=site, plot=plot)


def plot_of_another_site(p: Place) -> Plot:
    site = Site.objects.create(trial=p.trial, code="S2")
    return Plot.objects.create(block=Block.objects.create(site=site, code="1"), code="1")


def measured(p: Place) -> Any:
    """An open assessment with one value in it, and one entry held."""
    spring = open_spring(p)
    phone = Phone(spring, p.people["field_crew"])
    phone.send(phone.entry(), phone.entry("NOWHERE"))
    looked_at(spring, p.people["manager"])
    return spring


def tree_elsewhere(p: Place) -> Tree:
    """A tree of the trial on another site."""
    plot = plot_of_another_site(p)
    insert(Tree, code="ELSEWHERE", row=90, col=90, site=plot.block.site, plot=plot)
    return Tree.objects.get(code="ELSEWHERE")


def assessment_elsewhere(p: Place) -> Assessment:
    """An assessment of another site, of the same traits."""
    found = Assessment.objects.create(site=tree_elsewhere(p).site, name="Elsewhere", measured_from=NOW.date())
    for trait in Trait.objects.filter(assessments__isnull=False).distinct():
        AssessmentTrait.objects.create(assessment=found, trait=trait)
    return found


def foreign_trait(p: Place) -> Trait:
    """A trait of the trial that the assessment does not measure."""
    return Trait.objects.filter(assessments__isnull=True).first() or Trait.objects.create(
        trial=p.trial, code="bark_mm", name="Bark"
    )


def moved_after(kept: type[Any]) -> Attempt:
    """Move the tree to another site while only one kind of row holds it."""

    def attempt(p: Place) -> None:
        measured(p)
        tree = kept.objects.order_by("pk")[0].tree
        for other in {Entry, Photo, SettledCheck} - {kept}:
            other.objects.all().delete()
        plot = plot_of_another_site(p)
        update(Tree, {"pk": tree.pk}, plot=plot, site=plot.block.site)

    return attempt


def after(model: type[Any], **changes: Any) -> Attempt:
    """Change what was measured."""
    return lambda p: (measured(p), update(model, **changes))


def beside(model: type[Any], **changes: Any) -> Attempt:
    """Add to what was measured."""
    return lambda p: (measured(p), insert(model, **changes))


def fresh(**changes: Any) -> Attempt:
    return beside(Entry, **({"client_id": uuid.uuid4()} | changes))


MEASURING: dict[str, list[Attempt]] = {
    "trials_trait_code_once": [
        beside(Trait),
        lambda p: (measured(p), update(Trait, {"code": "height_m"}, code="DBH_mm")),
    ],
    "trials_trait_code_filled": [lambda p: (measured(p), update(Trait, {"code": "dbh_mm"}, code=""))],
    "trials_trait_name_filled": [after(Trait, name="")],
    "trials_trait_kind_known": [after(Trait, kind="colour")],
    "trials_trait_limits_in_order": [after(Trait, minimum=5, maximum=4)],
    "trials_trait_decimals_few": [after(Trait, decimals=7)],
    "trials_trait_decimals_check": [after(Trait, decimals=-1)],
    "trials_trait_position_check": [after(Trait, position=-1)],
    "trials_assessment_name_once": [beside(Assessment), beside(Assessment, name="SPRING")],
    "trials_assessment_name_filled": [after(Assessment, name="")],
    "trials_assessment_closed_has_a_date": [
        after(Assessment, state="closed"),
        after(Assessment, closed_at=NOW),
        after(Assessment, state="asleep", closed_at=NOW),
    ],
    "trials_assessment_crew_assessment_id_user_id_458d15ee_uniq": [beside(Assessment.crew.through)],
    "trials_assessmenttrait_once": [beside(AssessmentTrait)],
    "trials_assessmenttrait_position_check": [after(AssessmentTrait, position=-1)],
    "trials_entry_client_id_key": [beside(Entry, standing="replaced")],
    "trials_entry_one_stands": [fresh(), fresh(number=1)],
    "trials_entry_kind_known": [after(Entry, kind="girdled", trait=None, number=None)],
    "trials_entry_standing_known": [after(Entry, standing="sure")],
    "trials_entry_value_has_a_trait": [
        after(Entry, trait=None),
        after(Entry, number=None),
        after(Entry, text="both"),
        after(Entry, kind="dead"),
        after(Entry, kind="dead", trait=None),
        after(Entry, kind="dead", number=None),
    ],
    "trials_entry_number_finite": [after(Entry, number=n) for n in (NAN, -INFINITY, INFINITY, 1e9, -1e9)],
    "trials_entry_of_a_trait_of_its_assessment": [
        lambda p: (measured(p), update(Entry, trait=foreign_trait(p))),
        lambda p: (measured(p), insert(Entry, client_id=uuid.uuid4(), trait=foreign_trait(p))),
        lambda p: (measured(p), AssessmentTrait.objects.filter(trait__code="dbh_mm").delete()),
    ],
    "added_of_its_site": [
        lambda p: (measured(p), insert(Entry, client_id=uuid.uuid4(), tree=tree_elsewhere(p))),
        lambda p: (measured(p), insert(Photo, client_id=uuid.uuid4(), tree=tree_elsewhere(p))),
        lambda p: (measured(p), insert(SettledCheck, fingerprint="a", tree=tree_elsewhere(p))),
    ],
    "changed_of_its_site": [
        lambda p: (measured(p), update(Entry, tree=tree_elsewhere(p))),
        lambda p: (measured(p), update(Entry, assessment=assessment_elsewhere(p))),
        lambda p: (measured(p), update(Photo, tree=tree_elsewhere(p))),
        lambda p: (measured(p), update(SettledCheck, tree=tree_elsewhere(p))),
    ],
    "measured_trees_stay": [moved_after(Entry), moved_after(Photo), moved_after(SettledCheck)],
    "assessment_stays_on_its_site": [
        lambda p: (measured(p), update(Assessment, site=tree_elsewhere(p).site)),
    ],
    "trials_assessment_open_without_a_word": [after(Assessment, closed_with="3 findings")],
    "trials_settledcheck_once": [beside(SettledCheck)],
    **{
        f"trials_settledcheck_{name}_filled": [after(SettledCheck, **{name: ""})]
        for name in ("fingerprint", "check_kind", "said", "note")
    },
    "trials_photo_client_id_key": [beside(Photo)],
    "trials_photo_width_px_positive": [after(Photo, width_px=0)],
    "trials_photo_height_px_positive": [after(Photo, height_px=0)],
    "trials_photo_width_px_check": [after(Photo, width_px=-1)],
    "trials_photo_height_px_check": [after(Photo, height_px=-1)],
    "trials_photo_content_sized": [
        after(Photo, content=b""),
        after(Photo, content=b"x" * (MOST_PHOTO_BYTES + 1)),
    ],
    "trials_photo_small_filled": [after(Photo, small=b"")],
    "trials_heldentry_client_id_key": [beside(HeldEntry)],
    "trials_heldentry_state_known": [after(HeldEntry, state="lost", settled_at=NOW)],
    "trials_heldentry_settled_has_a_date": [
        after(HeldEntry, state="stored"),
        after(HeldEntry, settled_at=NOW),
    ],
}
RULES: dict[str, list[Attempt]] = {
    **MEASURING,
    "trials_trial_code_key": [lambda p: Trial.objects.bulk_create([Trial(code="small", name="Again")])],
    "trials_trial_code_filled": [lambda p: update(Trial, code="")],
    "trials_trial_name_filled": [lambda p: update(Trial, name="")],
    "trials_site_code_once": [lambda p: insert(Site)],
    "trials_site_code_filled": [lambda p: update(Site, code="")],
    "trials_site_id_trial": [],  # (id, trial): implied by the key; there for the trees to refer to
    "trials_block_code_once": [lambda p: insert(Block)],
    "trials_block_code_filled": [lambda p: update(Block, {"code": "1"}, code="")],
    "trials_plot_code_once": [lambda p: insert(Plot)],
    "trials_plot_code_filled": [lambda p: update(Plot, {"code": "1"}, code="")],
    "trials_clone_code_once": [
        lambda p: insert(Clone),
        lambda p: Clone.objects.bulk_create([Clone(trial=p.trial, code="k1")]),
        lambda p: Clone.objects.bulk_create([Clone(trial=p.trial, code=c) for c in ("Ö1", "ö1")]),
        lambda p: update(Clone, {"code": "K2"}, code="k1"),
    ],
    "trials_clone_code_filled": [lambda p: update(Clone, {"code": "K1"}, code="")],
    "trials_clone_kind_known": [lambda p: update(Clone, kind="cultivar")],
    "trials_clone_colour_check": [lambda p: update(Clone, colour=-1)],
    "trials_clone_id_trial": [],
    "trials_tree_code_once": [lambda p: insert(Tree, row=90, col=90)],
    "trials_tree_code_filled": [lambda p: update(Tree, {"code": "S-1-1"}, code="")],
    "trials_tree_address_once": [
        lambda p: insert(Tree, code="NEW"),
        lambda p: update(Tree, {"code": "S-1-2"}, col=1),
    ],
    "trials_tree_status_known": [lambda p: update(Tree, status="sleeping")],
    "trials_tree_on_a_site_of_its_trial": [tree_on_a_foreign_site],
    "trials_tree_of_a_clone_of_its_trial": [
        lambda p: insert(Tree, code="NEW", row=90, col=90, clone=of_the_other(p, Clone)),
        lambda p: update(Tree, {"code": "S-1-1"}, clone=of_the_other(p, Clone)),
    ],
    "plot_on_its_site": [
        lambda p: insert(Tree, code="NEW", row=90, col=90, plot=plot_of_another_site(p)),
        lambda p: update(Tree, {"code": "S-1-1"}, plot=plot_of_another_site(p)),
        lambda p: update(Tree, {"code": "S-1-1"}, site=Site.objects.create(trial=p.trial, code="S3")),
        lambda p: update(Tree, {"code": "S-1-1"}, plot=of_the_other(p, Plot)),
    ],
    "stays_on_its_site": [lambda p: update(Block, {"code": "1"}, site=of_the_other(p, Site))],
    "stays_in_its_block": [lambda p: update(Plot, {"code": "1"}, block=of_the_other(p, Block))],
    "stays_in_its_trial": [lambda p: update(Tree, {"code": "S-1-1"}, trial=other_trial(p))],
}
SAID_OTHERWISE = {
    "plot_on_its_site": "the plot of tree .* lies on another site",
    "stays_on_its_site": "Cannot update rows from trials_block",
    "stays_in_its_block": "Cannot update rows from trials_plot",
    "stays_in_its_trial": "Cannot update rows from trials_tree",
    "added_of_its_site": "of a tree on another site than its assessment",
    "changed_of_its_site": "of a tree on another site than its assessment",
    "measured_trees_stay": "a measured tree cannot go to another site",
    "assessment_stays_on_its_site": "Cannot update rows from trials_assessment",
}
ATTEMPTS = [
    pytest.param(rule, a, id=f"{rule}-{i}") for rule, tries in RULES.items() for i, a in enumerate(tries)
]


@pytest.mark.parametrize(("rule", "attempt"), ATTEMPTS)
def test_the_database_refuses(material: Place, rule: str, attempt: Attempt) -> None:
    with refused(SAID_OTHERWISE.get(rule, rule)):
        attempt(material)


@pytest.mark.parametrize(("model", "field", "value", "rule"), NUMBERS)
def test_sizes_are_positive_and_finite(
    material: Place, model: Any, field: str, value: float, rule: str
) -> None:
    with refused(rule):
        update(model, **{field: value})


def test_every_rule_of_the_room_is_tried(material: Place) -> None:
    assert rules_of("trials") == set(RULES) | rules_named(NUMBERS)


def test_another_trial_may_use_the_same_codes(material: Place) -> None:
    trial = other_trial(material)
    site = Site.objects.create(trial=trial, code="S")
    plot = Plot.objects.create(block=Block.objects.create(site=site, code="1"), code="1")
    clone = Clone.objects.create(trial=trial, code="k1")
    Tree.objects.bulk_create([one(Tree, trial=trial, site=site, plot=plot, clone=clone)])
    assert Tree.objects.filter(code="S-1-1").count() == 2


@pytest.mark.parametrize("role", [*Role.values, "stranger"])
def test_only_stewards_start_trials(material: Place, role: str) -> None:
    from django.core.exceptions import PermissionDenied

    with pytest.raises(PermissionDenied):
        create_trial(code="mine", name="Mine", by=material.people[role])
    assert not Trial.objects.filter(code="mine").exists()
