"""What managers ask of a choice of trees to fell."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from trials.calc.felling_requirements import Wanted, class_labels
from trials.calc.walking_order import CORNERS
from trials.models import Clone
from trials.planning.forms import HIGHEST_SEED, SEED_HELP, clone_field, whole

MOST_OF_CLONE, MOST_IN_ALL = 200, 500


class FellingForm(forms.Form):
    """Trees of each clone, where from, what to leave out. Made for one trial: its clones, sites and states."""

    each = whole(
        "Trees of every clone", 0, MOST_OF_CLONE, "Or a number of its own for a clone, below.", required=False
    )
    sites = forms.MultipleChoiceField(
        label="Sites to fell on",
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="None ticked: all of them.",
    )
    classes = forms.CharField(
        label="Bounds between diameter classes",
        required=False,
        max_length=200,
        widget=forms.TextInput(attrs={"inputmode": "text"}),
    )
    least_per_class = whole("Trees of every class, at least", 0, 100, initial=1)
    cover = forms.ChoiceField(
        label="Counted",
        choices=[("in all", "over all clones together"), ("each clone", "for each clone")],
    )
    least_per_site = whole("Trees of every site, at least", 0, 500, initial=0)
    most_per_plot = whole("Trees of one plot, at most", 1, 100, initial=1)
    leave_edge = forms.BooleanField(
        label="Leave out trees in the outermost rows and columns of a site", required=False, initial=True
    )
    leave_states = forms.MultipleChoiceField(
        label="Leave out as unhealthy trees whose latest record is",
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )
    leave = forms.CharField(
        label="Trees to leave",
        required=False,
        max_length=20_000,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="Codes of trees that must stay, parted by commas or lines.",
    )
    reserves = whole("Reserves for every tree", 0, 3, "Stand in for a tree that turns out unfit.", initial=1)
    corner = forms.ChoiceField(label="The walk begins", choices=[(c, c.capitalize()) for c in CORNERS])
    seed = whole("Seed", 0, HIGHEST_SEED, SEED_HELP)

    def __init__(
        self,
        *args: Any,
        clones: list[Clone],
        sites: list[str],
        trees: set[str],
        states: list[tuple[str, str]],
        diameters: bool,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.clones, self.trees = clones, trees
        for clone in clones:
            self.fields[clone_field(clone)] = whole(clone.code, 0, MOST_OF_CLONE, required=False)
        self.fields["sites"].choices = [(code, code) for code in sites]
        self.fields["classes"].unit = "mm"
        self.fields["leave_states"].choices = states
        if not states:
            del self.fields["leave_states"]
        if not diameters:
            for name in ("classes", "least_per_class", "cover"):
                del self.fields[name]

    def clone_fields(self) -> list[dict[str, Any]]:
        """The clones with their fields, for the form's table."""
        return [{"clone": clone, "field": self[clone_field(clone)]} for clone in self.clones]

    def clean_classes(self) -> tuple[float, ...]:
        words = [w for w in self.cleaned_data["classes"].replace(";", ",").split(",") if w.strip()]
        try:
            edges = tuple(float(word) for word in words)
            class_labels(edges)
        except ValueError:
            raise ValidationError(
                "Write rising numbers in mm, parted by commas: 180, 240. Empty: no classes."
            ) from None
        if any(not 0 < edge < 5000 for edge in edges) or len(edges) > 9:
            raise ValidationError("At most nine bounds, each between 0 and 5000 mm.")
        return edges

    def clean_leave(self) -> frozenset[str]:
        codes = {code.strip() for code in self.cleaned_data["leave"].replace(",", "\n").splitlines()} - {""}
        if strange := sorted(codes - self.trees):
            more = f" and {len(strange) - 5} more" if len(strange) > 5 else ""
            raise ValidationError(f"No such tree: {', '.join(strange[:5])}{more}.")
        return frozenset(codes)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if not self.errors:
            total = sum(self.per_clone().values())
            if not total:
                self.add_error("each", "Say how many trees: of every clone, or of single clones below.")
            if total > MOST_IN_ALL:
                self.add_error("each", f"{total} trees in all; at most {MOST_IN_ALL} are chosen at once.")
        return cleaned

    def per_clone(self) -> dict[str, int]:
        """Trees asked of each clone: its own number, else that of every clone that has trees standing."""
        each = self.cleaned_data.get("each") or 0
        numbers = {}
        for clone in self.clones:
            own = self.cleaned_data.get(clone_field(clone))
            numbers[clone.code] = (each if clone.n_standing else 0) if own is None else own  # type: ignore[attr-defined]
        return {code: number for code, number in numbers.items() if number}

    def wanted(self) -> Wanted:
        """What a valid form asks for."""
        given = self.cleaned_data
        edges = given.get("classes") or ()
        return Wanted(
            per_clone=self.per_clone(),
            class_edges_mm=edges,
            least_per_class=(given.get("least_per_class") or 0) if edges else 0,
            cover=given.get("cover") or "in all",
            sites=tuple(given["sites"]) or None,
            least_per_site=given["least_per_site"],
            most_per_plot=given["most_per_plot"],
            leave_unhealthy=bool(given.get("leave_states")),
            leave_edge=given["leave_edge"],
            leave=given["leave"],
            reserves=given["reserves"],
            weights={"class": 1 if edges else 0, "site": 1, "block": 1},
        )
