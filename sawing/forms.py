"""The plan of a study."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from sawing.calc.log_formulae import formulae
from sawing.models import Study

UNITS = {"headsaw_kerf_mm": "mm", "edger_kerf_mm": "mm", "crosscut_module_mm": "mm"}


class StudyForm(forms.ModelForm):
    """Code, mill, saws and how logs are measured."""

    widths = forms.CharField(
        label="Widths the edger is set to",
        required=False,
        help_text="Nominal widths in mm, separated by commas or spaces.",
    )
    log_volume_formula = forms.ChoiceField(
        label="Log volume formula",
        help_text="Stands beside every figure; can be changed for a look at any time.",
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
            "crosscut_module_mm",
            "bark_factor",
            "log_volume_formula",
            "drying_plan",
        )
        labels = {
            "code": "Code (in addresses)",
            "headsaw_kerf_mm": "Headsaw kerf",
            "edger_kerf_mm": "Edger kerf",
            "crosscut_module_mm": "Crosscut module",
            "felled_on": "Felled on",
            "sawn_on": "Sawn on",
        }
        widgets = {
            "purpose": forms.Textarea(attrs={"rows": 3}),
            "drying_plan": forms.Textarea(attrs={"rows": 2}),
            "felled_on": forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
            "sawn_on": forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["log_volume_formula"].choices = [(f.name, f"{f.title}: {f.text}") for f in formulae()]
        for name, unit in UNITS.items():
            self.fields[name].unit = unit
        if self.instance.pk:
            del self.fields["code"]  # addresses of a study stay
            self.fields["widths"].initial = ", ".join(f"{w:g}" for w in self.instance.widths_mm)

    def clean_code(self) -> str:
        code = str(self.cleaned_data["code"])
        if code == "new":
            raise ValidationError(
                "“new” is the address of the page that starts a study: choose another code."
            )
        return code

    def clean_widths(self) -> list[float]:
        text = self.cleaned_data["widths"].replace(",", " ")
        try:
            widths = sorted({float(part) for part in text.split()})
        except ValueError:
            raise ValidationError("Numbers in mm, separated by commas or spaces: 75, 100, 125.") from None
        if any(not 10 <= w <= 1000 for w in widths):
            raise ValidationError("Widths lie between 10 and 1000 mm.")
        return widths

    def plan(self) -> dict[str, Any]:
        """The cleaned values under the model's names."""
        values = dict(self.cleaned_data)
        return {**{k: v for k, v in values.items() if k != "widths"}, "widths_mm": values["widths"]}
