"""Forms of planning: who answers for a stage, a stem record, a log, a cross-cutting list."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.utils import timezone

from portal.calc.file_spec import Problem
from portal.models import User
from sawing.calc.crosscut import LONGEST_STEM_M, MOST_LENGTHS, SHORTEST_LOG_M
from sawing.columns import LOGS, LONGEST_LOG_M
from sawing.models import Duty, Felling, Log

DAY = {"type": "date"}
LABELS = {
    "log": "Code of the log",
    "bottom_m": "Height of its lower end",
    "length_m": "Length",
    "led1_mm": "Large end, first reading",
    "led2_mm": "Large end, second reading",
    "heart_led_mm": "Heartwood, large end",
    "sed1_mm": "Small end, first reading",
    "sed2_mm": "Small end, second reading",
    "heart_sed_mm": "Heartwood, small end",
    "mid1_mm": "Half length, first reading",
    "mid2_mm": "Half length, second reading",
    "centroid_mm": "At the centroid position",
    "sections_mm": "Sections from the butt",
    "sweep_mm": "Sweep over the whole length",
    "bark": "Diameters taken",
    "resonance_hz": "First resonance",
    "mass_kg": "Mass",
}
GROUPS = (
    ("Log", ("log", "bottom_m", "length_m")),
    ("Large end, nearer the butt", ("led1_mm", "led2_mm", "heart_led_mm")),
    ("Small end", ("sed1_mm", "sed2_mm", "heart_sed_mm")),
    ("Between the ends", ("mid1_mm", "mid2_mm", "centroid_mm", "sections_mm")),
    ("Besides", ("sweep_mm", "bark", "resonance_hz", "mass_kg")),
)


class DutyForm(forms.ModelForm):
    """Who answers for a stage: a person with an account or a name, and the day that is planned."""

    class Meta:
        model = Duty
        fields = ("stage", "person", "name", "planned_on", "note")
        labels = {"name": "Or a name", "planned_on": "Planned for"}
        help_texts = {"person": "People with a role in the trial.", "name": "Of somebody without a sign-in."}
        widgets = {
            "planned_on": forms.DateInput(attrs=DAY, format="%Y-%m-%d"),
            "note": forms.TextInput(),
        }

    def __init__(self, *args: Any, people: QuerySet[User], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["person"].queryset = people
        self.fields["person"].empty_label = "nobody with a sign-in"
        self.fields["name"].max_length = 200

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if not self.errors and not cleaned.get("person") and not cleaned.get("name"):
            self.add_error("person", "Choose a person, or write a name below.")
        return cleaned


class StemForm(forms.ModelForm):
    """What is noted when a tree is felled."""

    class Meta:
        model = Felling
        fields = ("felled_on", "felled_by", "stem_length_m", "stump_m", "north_marked", "note")
        labels = {
            "felled_on": "Felled on",
            "felled_by": "Felled by",
            "stem_length_m": "Length of the stem",
            "stump_m": "Height of the stump",
            "north_marked": "North is painted along the stem",
        }
        help_texts = {
            "stem_length_m": "From the felling cut to the top.",
            "stump_m": "Felling cut above the ground, on the upper side.",
            "north_marked": "",
        }
        widgets = {
            "felled_on": forms.DateInput(attrs=DAY, format="%Y-%m-%d"),
            "note": forms.Textarea(attrs={"rows": 2}),
            "stem_length_m": forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
            "stump_m": forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("stem_length_m", "stump_m"):
            self.fields[name].unit = "m"

    def clean_felled_on(self) -> Any:
        day = self.cleaned_data["felled_on"]
        if day is not None and day > timezone.localdate():
            raise ValidationError("This day is still to come.")
        return day

    def clean_stem_length_m(self) -> Any:
        return self._within("stem_length_m", LONGEST_STEM_M)

    def clean_stump_m(self) -> Any:
        return self._within("stump_m", 5.0)

    def _within(self, name: str, most: float) -> Any:
        value = self.cleaned_data[name]
        if value is not None and not 0 <= value <= most:
            raise ValidationError(f"In metres, at most {most:g}.")
        return value


class LogForm(forms.Form):
    """The measures of one log as text; whether they can be is decided by the checks of the logs file."""

    def __init__(self, *args: Any, stored: Log | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for column in LOGS.columns:
            if column.name == "tree" or (stored is not None and column.name == "log"):
                continue
            self.fields[column.name] = self._field(column)
            self.fields[column.name].unit = column.unit

    @staticmethod
    def _field(column: Any) -> forms.Field:
        if column.kind == "choice":
            choices = [("under", "under bark"), ("over", "over bark")]
            return forms.ChoiceField(label=LABELS[column.name], choices=choices, required=False)
        attrs = {"autocomplete": "off"} | ({"inputmode": "decimal"} if column.kind == "number" else {})
        return forms.CharField(
            label=LABELS[column.name],
            required=column.required,
            max_length=400,
            widget=forms.TextInput(attrs=attrs),
            help_text=column.help if column.name in ("centroid_mm", "sections_mm", "sweep_mm") else "",
        )

    def groups(self) -> list[tuple[str, list[Any]]]:
        """(heading, its fields) in the order in which a log is measured."""
        return [(title, [self[n] for n in names if n in self.fields]) for title, names in GROUPS]

    def values(self, tree: str) -> dict[str, str]:
        """{column of the logs file: text} of a valid form."""
        return {**{k: v for k, v in self.cleaned_data.items() if v}, "tree": tree}

    def refuse(self, problems: list[Problem]) -> None:
        """Put the checks' problems beside their fields, those of no field on top."""
        for p in problems:
            name = p.column if p.column in self.fields else None
            found = (
                f" (found: {p.found})" if p.found and (name is None or p.found != self.data.get(name)) else ""
            )
            self.add_error(name, f"Expected {p.expected}{found}.")


class CutsForm(forms.Form):
    """Lengths of logs wanted from every stem. Nothing of it is stored."""

    lengths = forms.CharField(
        label="Lengths of logs wanted",
        max_length=400,
        required=False,
        help_text="In m, allowance included, separated by spaces or semicolons: 4.1 3.1 2.5.",
        widget=forms.TextInput(attrs={"inputmode": "text"}),
    )
    kerf_mm = forms.FloatField(label="Kerf of a cut", min_value=0, max_value=50, required=False, initial=10)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["lengths"].unit = "m"
        self.fields["kerf_mm"].unit = "mm"
        self.fields["kerf_mm"].widget = forms.TextInput(attrs={"inputmode": "decimal"})

    def clean_lengths(self) -> list[float]:
        try:
            found = sorted(
                {float(w) for w in self.cleaned_data["lengths"].replace(";", " ").split()}, reverse=True
            )
        except ValueError:
            raise ValidationError(
                "Numbers in m with a decimal point, separated by spaces: 4.1 3.1."
            ) from None
        if not found or len(found) > MOST_LENGTHS:
            raise ValidationError(f"One to {MOST_LENGTHS} lengths.")
        if any(not SHORTEST_LOG_M <= length <= LONGEST_LOG_M for length in found):
            raise ValidationError(f"Each between {SHORTEST_LOG_M:g} and {LONGEST_LOG_M:g} m.")
        return found

    def clean_kerf_mm(self) -> float:
        kerf = self.cleaned_data["kerf_mm"]
        return 0.0 if kerf is None else float(kerf)
