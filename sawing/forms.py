"""The plan of a study."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from sawing.calc.log_formulae import formulae
from sawing.models import Study

UNITS = {
    "headsaw_kerf_mm": "mm",
    "edger_kerf_mm": "mm",
    "crosscut_kerf_mm": "mm",
    "crosscut_module_mm": "mm",
    "min_length_mm": "mm",
    "max_length_mm": "mm",
    "oversize_width_pct": "%",
    "oversize_thickness_mm": "mm",
    "edger_clearance_mm": "mm",
    "thicknesses": "mm",
    "widths": "mm",
}
GROUPS = (
    ("Study", ("name", "code", "purpose")),
    ("Mill and saws", ("mill", "headsaw_kerf_mm", "edger_kerf_mm", "sweep_position")),
    ("Sizes", ("thicknesses", "widths", "oversize_thickness_mm", "oversize_width_pct", "edger_clearance_mm")),
    ("Docking", ("crosscut_module_mm", "crosscut_kerf_mm", "min_length_mm", "max_length_mm", "max_docks")),
    ("Logs and volume", ("bark_factor", "log_volume_formula", "felled_on", "sawn_on")),
    ("Drying", ("drying_plan",)),
    ("Safety", ("safety_note",)),
)
BOUNDS = {
    "headsaw_kerf_mm": (0.0, 20.0, " mm"),
    "edger_kerf_mm": (0.0, 20.0, " mm"),
    "crosscut_kerf_mm": (0.0, 20.0, " mm"),
    "oversize_width_pct": (0.0, 50.0, " %"),
    "oversize_thickness_mm": (0.0, 20.0, " mm"),
    "edger_clearance_mm": (0.0, 100.0, " mm"),
    "crosscut_module_mm": (1.0, 5_000.0, " mm"),
    "min_length_mm": (10.0, 20_000.0, " mm"),
    "max_length_mm": (10.0, 20_000.0, " mm"),
    "bark_factor": (0.51, 1.0, ""),
}
"""What a mill's settings can be; beyond it somebody has mistyped (common practice, no published source)."""
LISTS = {"thicknesses": (5.0, 400.0), "widths": (10.0, 1000.0)}


class StudyForm(forms.ModelForm):
    """Code, mill, saws, sizes, docking, how logs are measured, drying and safety, in plain groups."""

    thicknesses = forms.CharField(
        label="Thicknesses of flitches",
        required=False,
        help_text="Nominal, in mm, separated by commas or spaces.",
    )
    widths = forms.CharField(
        label="Widths the edger is set to",
        required=False,
        help_text="Nominal widths in mm, separated by commas or spaces.",
    )
    log_volume_formula = forms.ChoiceField(
        label="Log volume formula",
        help_text="Stands beside every figure; can be changed for a look at any time.",
    )
    max_docks = forms.TypedChoiceField(
        label="Dock cuts within a flitch, at most",
        choices=[(n, str(n)) for n in (0, 1, 2)],
        coerce=int,
        empty_value=1,
        initial=1,
        required=False,
    )

    class Meta:
        model = Study
        fields = (
            "name",
            "code",
            "mill",
            "purpose",
            "felled_on",
            "sawn_on",
            "headsaw_kerf_mm",
            "edger_kerf_mm",
            "crosscut_kerf_mm",
            "sweep_position",
            "oversize_width_pct",
            "oversize_thickness_mm",
            "edger_clearance_mm",
            "crosscut_module_mm",
            "min_length_mm",
            "max_length_mm",
            "max_docks",
            "bark_factor",
            "log_volume_formula",
            "drying_plan",
            "safety_note",
        )
        labels = {
            "code": "Code (in addresses)",
            "headsaw_kerf_mm": "Headsaw kerf",
            "edger_kerf_mm": "Edger kerf",
            "crosscut_kerf_mm": "Crosscut kerf",
            "crosscut_module_mm": "Crosscut module",
            "min_length_mm": "Shortest board",
            "max_length_mm": "Longest board",
            "oversize_width_pct": "Green oversize of width",
            "oversize_thickness_mm": "Green oversize of thickness",
            "edger_clearance_mm": "Clearance at the edger",
            "sweep_position": "How a swept log lies on the carriage",
            "safety_note": "Safety rules of the mill and the yard",
            "felled_on": "Felled on",
            "sawn_on": "Sawn on",
        }
        help_texts = {
            "crosscut_module_mm": "Boards are cut to multiples of it.",
            "oversize_width_pct": "Added to the nominal width, for shrinkage.",
            "oversize_thickness_mm": "Added to the nominal thickness, for shrinkage and sawing.",
            "edger_clearance_mm": "Left to wane on each side, since edging is never exact.",
            "safety_note": "Shown beside the cautions on every page where work starts.",
        }
        widgets = {
            "purpose": forms.Textarea(attrs={"rows": 3}),
            "drying_plan": forms.Textarea(attrs={"rows": 2}),
            "safety_note": forms.Textarea(attrs={"rows": 3}),
            "felled_on": forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
            "sawn_on": forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["log_volume_formula"].choices = [(f.name, f"{f.title}: {f.text}") for f in formulae()]
        self.fields["sweep_position"].required = False
        for name, unit in UNITS.items():
            self.fields[name].unit = unit
        if self.instance.pk:
            del self.fields["code"]  # addresses of a study stay
        for name in LISTS:
            self.fields[name].initial = ", ".join(f"{v:g}" for v in getattr(self.instance, f"{name}_mm"))

    def groups(self) -> list[tuple[str, list[Any]]]:
        """(heading, its fields) in the order of the page."""
        return [(title, [self[name] for name in names if name in self.fields]) for title, names in GROUPS]

    def clean_code(self) -> str:
        code = str(self.cleaned_data["code"])
        if code == "new":
            raise ValidationError(
                "“new” is the address of the page that starts a study: choose another code."
            )
        return code

    def clean_sweep_position(self) -> str:
        return str(self.cleaned_data["sweep_position"] or self.instance.sweep_position)

    def clean_thicknesses(self) -> list[float]:
        return self._sizes("thicknesses")

    def clean_widths(self) -> list[float]:
        return self._sizes("widths")

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        shortest, longest = cleaned.get("min_length_mm"), cleaned.get("max_length_mm")
        if shortest is not None and longest is not None and longest < shortest:
            self.add_error("max_length_mm", f"At least the shortest board, {shortest:g} mm.")
        for name, (least, most, unit) in BOUNDS.items():
            value = cleaned.get(name)
            if value is not None and not least <= value <= most:
                self.add_error(name, f"Between {least:g} and {most:g}{unit}.")
        felled, sawn = cleaned.get("felled_on"), cleaned.get("sawn_on")
        for name, day in (("felled_on", felled), ("sawn_on", sawn)):
            if day is not None and day > timezone.localdate():
                self.add_error(name, "This day is still to come.")
        if felled and sawn and sawn < felled:
            self.add_error("sawn_on", f"The trees were felled on {felled}.")
        return cleaned

    def _sizes(self, name: str) -> list[float]:
        least, most = LISTS[name]
        text = self.cleaned_data[name].replace(",", " ")
        try:
            sizes = sorted({float(part) for part in text.split()})
        except ValueError:
            raise ValidationError("Numbers in mm, separated by commas or spaces: 75, 100, 125.") from None
        if any(not least <= size <= most for size in sizes):
            raise ValidationError(f"{name.capitalize()} lie between {least:g} and {most:g} mm.")
        return sizes

    def plan(self) -> dict[str, Any]:
        """The cleaned values under the model's names."""
        values = dict(self.cleaned_data)
        return {f"{name}_mm" if name in LISTS else name: value for name, value in values.items()}
