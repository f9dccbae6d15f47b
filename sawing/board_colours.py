"""In which colours the boards of a log end can be drawn. Rooms above add theirs when they are ready.

A room above knows things of boards that this one does not (their grades): it registers a source, so that the page of
a log shows its colours without importing it.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from portal.templatetags.parts_numbers import clone_colour, grade_colour
from sawing.calc.heart_in_board import heart_share
from sawing.end_places import EndScene
from sawing.models import DryingDefect, Study
from trials.models import Tree

ALL_HEART, NO_HEART = 0.98, 0.02


@dataclass(frozen=True)
class BoardColours:
    """CSS class and words for boards by code, and the key: (class, word) in its order. `missing`: why there is none."""

    by_board: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    key: tuple[tuple[str, str], ...] = ()
    missing: str = ""


@dataclass(frozen=True)
class Colouring:
    """One way to colour boards: its name in addresses, its title, and the computing of it."""

    name: str
    title: str
    colours: Callable[[EndScene], BoardColours]


Source = Callable[[Study], list[Colouring]]
_sources: list[Source] = []


def register_colours(source: Source) -> None:
    """Make colourings known. `source(study)` gives those it has anything for; called when a page is shown."""
    if source not in _sources:
        _sources.append(source)


def colourings(study: Study) -> list[Colouring]:
    """Every way to colour the boards of a study: plain first, then this room's, then those of the rooms above."""
    return [PLAIN, *(c for source in (_own, *_sources) for c in source(study))]


def _own(study: Study) -> list[Colouring]:
    return [
        Colouring("clone", "Clone", _by_clone),
        Colouring("heartwood", "Heartwood", _by_heartwood),
        Colouring("defect", "Drying defects", _by_defects),
    ]


def _plain(scene: EndScene) -> BoardColours:
    return BoardColours()


PLAIN = Colouring("plain", "Plain", _plain)


def _by_clone(scene: EndScene) -> BoardColours:
    tree = Tree.objects.select_related("clone").get(trial=scene.study.trial_id, code=scene.log["tree"])
    css, clone = clone_colour(tree.clone.colour), tree.clone.code
    return BoardColours({b.code: (css, clone) for b in scene.placed}, ((css, clone),))


def _by_heartwood(scene: EndScene) -> BoardColours:
    heart = scene.heart_mm
    if heart is None:
        return BoardColours(missing=f"Heartwood was not measured at the {scene.end_words}.")
    first, second = scene.diameters
    # The heart is drawn as the log's own ellipse made smaller; its diameter is that of the circle of equal area.
    ratio = heart / (first * second) ** 0.5
    radii = first * ratio / 2, second * ratio / 2
    found = {}
    for b in scene.placed:
        middle = b.x_mm + b.width_mm / 2, b.y_mm + b.height_mm / 2
        share = heart_share(middle, (b.width_mm / 2, b.height_mm / 2), radii, b.angle_deg)
        css = "all-heart" if share >= ALL_HEART else "no-heart" if share <= NO_HEART else "part-heart"
        found[b.code] = css, f"{share:.0%} heartwood at the {scene.end_words}"
    key = (("all-heart", "heartwood"), ("part-heart", "heart and sap"), ("no-heart", "sapwood"))
    return BoardColours(found, key)


def _by_defects(scene: EndScene) -> BoardColours:
    codes = [b.code for b in scene.placed]
    rows = DryingDefect.objects.filter(board__study=scene.study, board__code__in=codes, set_aside=False)
    kinds: dict[str, set[str]] = {}
    for defect in rows.select_related("board"):
        kinds.setdefault(defect.board.code, set()).add(defect.get_kind_display().lower())
    if not kinds:
        return BoardColours(missing="No drying defect is on record for these boards.")
    steps = ("", grade_colour(1, 4), grade_colour(2, 4), grade_colour(3, 4))
    found = {code: (steps[min(3, len(of))], ", ".join(sorted(of))) for code, of in kinds.items()}
    words = ("nothing on record", "one kind of defect", "two kinds", "three or more")
    return BoardColours(found, tuple(zip(steps, words, strict=True)))
