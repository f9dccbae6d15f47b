"""What planning must know: the clones there are, and the trees that may be felled with what was measured."""

from collections.abc import Iterable

import pandas as pd
from django.db.models import Count, Q, QuerySet

from trials.entries.queries import latest_values, standing
from trials.models import Clone, EntryKind, Trait, TraitKind, Tree, TreeStatus, Trial

DIAMETER = "dbh_mm"  # code of the trait that holds the diameter at breast height
FIELDS = (
    "pk",
    "code",
    "clone__code",
    "site__code",
    "plot__block__code",
    "plot__code",
    "row",
    "col",
    "status",
)
NAMES = ("pk", "tree", "clone", "site", "block", "plot", "row", "col", "status")
YES = {"1", "yes", "true"}


def clones_of(trial: Trial) -> QuerySet[Clone]:
    """The trial's clones with their number of standing trees."""
    upright = Count("trees", filter=Q(trees__status=TreeStatus.STANDING))
    return trial.clones.annotate(n_standing=upright).order_by("code")


def places(trial: Trial) -> pd.DataFrame:
    """Every planted position: pk, tree, clone, site, block, plot, row, col, status, and edge (whether it stands
    in an outermost row or column of its site)."""
    rows = Tree.objects.filter(trial=trial).order_by("site__code", "row", "col").values_list(*FIELDS)
    trees = pd.DataFrame.from_records(list(rows), columns=list(NAMES))
    trees["edge"] = False
    for column in ("row", "col"):
        of_site = trees.groupby("site")[column]
        outermost = (trees[column] == of_site.transform("min")) | (trees[column] == of_site.transform("max"))
        trees["edge"] |= outermost.to_numpy(dtype=bool)
    return trees


def candidates(trial: Trial, trees: pd.DataFrame, leave_states: Iterable[str] = ()) -> pd.DataFrame:
    """The trees of `places` that stand, with dbh_mm (latest; NaN where never measured), dbh_on, healthy.

    A tree whose latest entry says dead or missing does not stand. `leave_states`: "trait=value" of
    `health_states`; a tree whose latest value is one of them is not healthy, without a value it is not known.
    """
    upright = trees[(trees["status"] == TreeStatus.STANDING) & ~trees["pk"].isin(_found_gone(trial))].copy()
    latest = {pk: (number, day) for pk, number, _, day in _latest(trial, DIAMETER) if number is not None}
    upright["dbh_mm"] = pd.Series(
        [latest.get(pk, (float("nan"), None))[0] for pk in upright["pk"]], index=upright.index, dtype=float
    )
    upright["dbh_on"] = [latest.get(pk, (None, None))[1] for pk in upright["pk"]]
    upright["healthy"] = _healthy(trial, upright["pk"].tolist(), frozenset(leave_states))
    return upright.reset_index(drop=True)


def health_states(trial: Trial) -> list[tuple[str, str]]:
    """What a tree may be left out for: (“trait=value”, words) of every scale and yes-or-no trait."""
    found: list[tuple[str, str]] = []
    for trait in trial.traits.filter(active=True, kind__in=[TraitKind.ORDINAL, TraitKind.YES_NO]):
        if trait.kind == TraitKind.YES_NO:
            found += [(f"{trait.code}={word}", f"{trait.name}: {word}") for word in ("yes", "no")]
            continue
        for point in trait.points:
            words = f"{point.get('value')} {point.get('text', '')}".strip()
            found.append((f"{trait.code}={_written(point.get('value'))}", f"{trait.name}: {words}"))
    return found


def _found_gone(trial: Trial) -> list[int]:
    """Trees whose latest entry says that they are dead or missing."""
    latest = (
        standing()
        .filter(tree__trial=trial, kind__in=[EntryKind.VALUE, EntryKind.DEAD, EntryKind.MISSING])
        .order_by("tree_id", "-assessment__measured_from", "-assessment_id", "-pk")
        .distinct("tree_id")
        .values_list("tree_id", "kind")
    )
    return [pk for pk, kind in latest if kind != EntryKind.VALUE]


def _latest(trial: Trial, code: str) -> list[tuple[int, float | None, str | None, object]]:
    """(tree, number, text, day) of the latest value that stands of a trait, tree by tree."""
    rows = latest_values(trial, code)
    return list(rows.values_list("tree_id", "number", "text", "assessment__measured_from"))


def _healthy(trial: Trial, trees: list[int], leave: frozenset[str]) -> list[bool | None]:
    """False where a latest value is to be left out, True where there are values and none is, None without."""
    known: dict[int, bool] = {}
    for trait in Trait.objects.filter(trial=trial, code__in={state.split("=")[0] for state in leave}):
        for pk, number, text, _ in _latest(trial, trait.code):
            value = _written(text if number is None else number)
            if trait.kind == TraitKind.YES_NO:
                value = "yes" if value.lower() in YES else "no"
            known[pk] = known.get(pk, True) and f"{trait.code}={value}" not in leave
    return [known.get(pk) for pk in trees]


def _written(value: object) -> str:
    return f"{value:g}" if isinstance(value, int | float) and not isinstance(value, bool) else str(value)
