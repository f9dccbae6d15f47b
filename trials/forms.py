"""Starting and describing a trial, describing a site."""

import datetime as dt
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from trials.models import Site, Trial
from trials.queries import CODE_TAKEN

LOWEST_BREAST_HEIGHT_M, HIGHEST_BREAST_HEIGHT_M = 1.0, 1.5
BREAST_HEIGHT_RANGE = "Breast height lies between 1 and 1.5 m above the ground: 1.3 in most countries."
CODE_WRONG = (
    "A code has letters, digits, hyphens and underscores only. Leave out spaces and other signs: north-fell."
)
LOWEST_SITE_M, HIGHEST_SITE_M = -450, 6000
ELEVATION_RANGE = f"Elevations of sites lie between {LOWEST_SITE_M} and {HIGHEST_SITE_M} m above the sea."
EARLIEST_PLANTING = dt.date(1900, 1, 1)  # as for dates in files


class TrialForm(forms.ModelForm):
    """Name, code, description and breast height. The code of a trial that exists stays: addresses hold it."""

    breast_height_m = forms.FloatField(
        label="Breast height",
        initial=1.3,
        min_value=LOWEST_BREAST_HEIGHT_M,
        max_value=HIGHEST_BREAST_HEIGHT_M,
        help_text="Height above the ground at which diameters of standing trees are measured.",
        error_messages={"min_value": BREAST_HEIGHT_RANGE, "max_value": BREAST_HEIGHT_RANGE},
        widget=forms.NumberInput(attrs={"step": "any"}),
    )

    class Meta:
        model = Trial
        fields = ("name", "code", "description", "breast_height_m")
        labels = {"code": "Code (in addresses)"}
        help_texts = {
            "code": "Short, such as north-fell. It cannot be changed later.",
            "description": "What is compared, where, and for what. Stands under the name of the trial.",
        }
        error_messages = {"code": {"invalid": CODE_WRONG, "unique": CODE_TAKEN}}
        widgets = {"description": forms.Textarea(attrs={"rows": 4})}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["breast_height_m"].unit = "m"
        if self.instance.pk:
            del self.fields["code"]


class SiteForm(forms.ModelForm):
    """What is known of a site beside the trees on it."""

    elevation_m = forms.FloatField(
        label="Elevation",
        required=False,
        min_value=LOWEST_SITE_M,
        max_value=HIGHEST_SITE_M,
        error_messages={"min_value": ELEVATION_RANGE, "max_value": ELEVATION_RANGE},
        widget=forms.NumberInput(attrs={"step": "any"}),
    )

    class Meta:
        model = Site
        fields = ("name", "place", "elevation_m", "planted_on", "spacing_m", "design")
        labels = {"spacing_m": "Spacing"}
        help_texts = {
            "name": "Stands instead of the code where the site is named.",
            "place": "Where it lies, in words that lead somebody there.",
            "spacing_m": "Between rows × within rows: 3 × 2.",
            "design": "How clones were laid out: randomised blocks, rows, single-tree plots.",
        }
        widgets = {"planted_on": forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["elevation_m"].unit = "m"
        self.fields["spacing_m"].unit = "m"

    def clean_planted_on(self) -> dt.date | None:
        day = self.cleaned_data["planted_on"]
        tomorrow = timezone.now().date() + dt.timedelta(days=1)  # somewhere it is tomorrow already
        if day is not None and not EARLIEST_PLANTING <= day <= tomorrow:
            raise ValidationError(
                "Between 1900 and today: note the day when the trees were planted, or leave it empty."
            )
        return day
