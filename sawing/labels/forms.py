"""What people ask of labels: for which boards, for which logs, over which code the pith lies."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from sawing.calc.label_code import LabelCode, LabelCodeError, decode
from sawing.calc.label_lattice import LatticeRefusedError, Slice
from sawing.models import Board, Study

WHICH = [
    ("without", "All logs without sheets"),
    ("chosen", "The logs ticked in the list"),
    ("all", "All logs"),
]
DECIMAL = {"inputmode": "decimal"}


def millimetres(label: str, low: float, high: float, help_text: str = "") -> forms.FloatField:
    field = forms.FloatField(
        label=label, min_value=low, max_value=high, help_text=help_text, widget=forms.TextInput(attrs=DECIMAL)
    )
    field.unit = "mm"  # type: ignore[attr-defined]
    return field


class MakeForm(forms.Form):
    """Sheets for boards of a planned size."""

    which = forms.ChoiceField(label="Sheets for", choices=WHICH, widget=forms.RadioSelect, initial="without")
    thickness_mm = millimetres("Thinnest planned board", 5, 200, "Green, as sawn.")
    width_mm = millimetres("Narrowest planned board", 20, 600)
    torn_mm = millimetres("Spoilt by the saw at each face", 0, 10)
    anew = forms.BooleanField(
        label="Also for logs that have sheets: they get another number",
        required=False,
        help_text="The old sheets’ codes stay readable; the old numbers are never given again.",
    )

    @staticmethod
    def first(study: Study) -> dict[str, Any]:
        """What to begin with: the thinnest and the narrowest board of the study's plan."""
        return {
            "which": "without",
            "thickness_mm": min(study.thicknesses_mm, default=25),
            "width_mm": min(study.widths_mm, default=100),
            "torn_mm": 1,
        }

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if not self.errors:
            try:
                cleaned["board"] = Slice(cleaned["thickness_mm"], cleaned["width_mm"], cleaned["torn_mm"])
            except LatticeRefusedError as refused:
                raise ValidationError(f"This cannot be labelled: {refused}.") from None
        return cleaned


class PutOnForm(forms.Form):
    """How a sheet sits on its log."""

    pith = forms.CharField(
        label="Code over the pith",
        max_length=40,
        help_text="Scan it, or type its ten digits.",
        widget=forms.TextInput(attrs={"autocomplete": "off", "inputmode": "numeric", "autofocus": True}),
    )
    turned_deg = forms.FloatField(
        label="Sheet turned clockwise by",
        required=False,
        min_value=-180,
        max_value=360,
        help_text="Where the arrow does not point to the top of the log. Empty: it does.",
        widget=forms.TextInput(attrs=DECIMAL),
    )
    note = forms.CharField(
        label="Note", required=False, max_length=500, help_text="For example where north lies."
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["turned_deg"].unit = "°"

    def clean_pith(self) -> LabelCode:
        try:
            return decode(self.cleaned_data["pith"])
        except LabelCodeError as refused:
            raise ValidationError(f"{refused}.") from None


class LinkForm(forms.Form):
    """Which board codes were read on."""

    board = forms.ChoiceField(label="Board")

    def __init__(self, *args: Any, boards: list[Board], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["board"].choices = [
            ("", "Choose the board"),
            *((b.code, _board_words(b)) for b in boards),
        ]


def _board_words(board: Any) -> str:
    words = f"{board.code}: {board.thickness_mm:g} × {board.width_mm:g} mm, {board.length_m:g} m"
    return f"{words}, {board.n_codes} codes" if board.n_codes else words
