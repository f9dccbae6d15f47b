"""What managers ask of a plan and of a choice of trees. Both forms are read from the address of their page."""

import secrets
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from trials.calc.field_layout import Ground, Guards, PlotShape
from trials.calc.site_plan import PlanAsked
from trials.models import Clone

HIGHEST_SEED = 999_999_999
DESIGNS = [
    ("complete", "Complete blocks: every clone in every block, in random order"),
    ("alpha", "Incomplete blocks (alpha): small even blocks within every replicate"),
    ("row_column", "Rows and columns: both taken out of comparisons within every block"),
]
SEED_HELP = "Any whole number. The same seed gives the same result again; write it down with it."


def new_seed() -> int:
    """A seed to begin with; the person may type another."""
    return secrets.randbelow(899_999) + 100_000


def whole(label: str, low: int, high: int, help_text: str = "", **more: Any) -> forms.IntegerField:
    """A field for a whole number within limits."""
    return forms.IntegerField(label=label, min_value=low, max_value=high, help_text=help_text, **more)


class PlanForm(forms.Form):
    """A design and how it lies on the ground."""

    design = forms.ChoiceField(label="Design", choices=DESIGNS, widget=forms.RadioSelect, initial="complete")
    which = forms.ChoiceField(
        label="Clones",
        choices=[("all", "All clones of the trial but the guards’"), ("ticked", "Only those ticked")],
        widget=forms.RadioSelect,
        initial="all",
    )
    clones = forms.MultipleChoiceField(
        label="Ticked clones", required=False, widget=forms.CheckboxSelectMultiple
    )
    site = forms.CharField(
        label="Site code", max_length=64, help_text="A new site, or one that has no trees there yet."
    )
    blocks = whole("Blocks", 1, 60, "Replicates: how often the whole set of clones is planted.", initial=4)
    block_size = whole("Plots in an incomplete block", 2, 100, "For alpha designs.", required=False)
    grid_rows = whole("Rows of plots in a block", 2, 60, "For rows and columns.", required=False)
    grid_columns = whole("Columns of plots in a block", 2, 60, "For rows and columns.", required=False)
    plots_across = whole(
        "Plots side by side in a block",
        1,
        400,
        "For blocks without columns of their own; empty: a block in one line, incomplete blocks below each other.",
        required=False,
    )
    blocks_across = whole("Blocks side by side", 1, 60, initial=1)
    plot_rows = whole("Rows of trees in a plot", 1, 50, "1 × 1 is a single-tree plot.", initial=1)
    plot_columns = whole("Trees in each of these rows", 1, 50, initial=1)
    guard_lines = whole("Guard rows around the site", 0, 10, initial=0)
    guard_clone = forms.ChoiceField(
        label="Clone of the guards",
        required=False,
        help_text="Fills corners without plots too. Another clone: bring it with a clones file first.",
    )
    seed = whole("Seed", 0, HIGHEST_SEED, SEED_HELP)

    def __init__(self, *args: Any, trial_clones: list[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.trial_clones = trial_clones
        self.fields["clones"].choices = [(code, code) for code in trial_clones]
        self.fields["guard_clone"].choices = [("", "no guards"), *((code, code) for code in trial_clones)]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if cleaned.get("guard_lines") and not cleaned.get("guard_clone") and "guard_clone" in cleaned:
            raise ValidationError({"guard_clone": "Choose the clone that the guard rows are planted with."})
        needs = {"alpha": ("block_size",), "row_column": ("grid_rows", "grid_columns")}
        for name in needs.get(cleaned.get("design", ""), ()):
            if cleaned.get(name) is None and name not in self.errors:
                self.add_error(name, "This design needs a number here.")
        if cleaned.get("which") == "ticked" and not cleaned.get("clones"):
            self.add_error("which", "Tick two clones or more, or take all of them.")
        return cleaned

    def asked(self) -> PlanAsked:
        """The plan that a valid form asks for."""
        given = self.cleaned_data
        guard = given["guard_clone"]
        clones = given["clones"] if given["which"] == "ticked" else self.trial_clones
        ground = Ground(
            site=given["site"],
            plot_shape=PlotShape(given["plot_rows"], given["plot_columns"]),
            blocks_across=given["blocks_across"],
            guards=Guards(guard, given["guard_lines"]) if guard else None,
        )
        grid = (given["grid_rows"], given["grid_columns"]) if given["design"] == "row_column" else None
        return PlanAsked(
            kind=given["design"],
            clones=tuple(code for code in clones if code != guard),
            blocks=given["blocks"],
            seed=given["seed"],
            ground=ground,
            block_size=given["block_size"],
            grid=grid,
            plots_across=given["plots_across"],
        )


def clone_field(clone: Clone) -> str:
    """Name of the field that holds the number of trees of a clone."""
    return f"n_{clone.pk}"
