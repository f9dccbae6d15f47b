"""A tap typed by hand, a recording of one, and what a study has settled."""

import uuid
from typing import Any

from django import forms

from grading.calc.stiffness import MOISTURE_RULES
from sawing.drying.queries import boards_by_what_was_read
from sawing.models import Study

LARGEST_WAV = 20_000_000


def _number(label: str, least: float, most: float, unit: str, **more: Any) -> forms.FloatField:
    field = forms.FloatField(label=label, min_value=least, max_value=most, localize=False, **more)
    field.unit = unit  # type: ignore[attr-defined]
    return field


class BoardForm(forms.Form):
    """A board scanned or typed, with what it weighs."""

    board = forms.CharField(max_length=64, label="Board", help_text="Scan or type its code.")
    mass_kg = _number("Mass", 0.01, 500, "kg", required=False)
    mc_pct = _number("Moisture", 0, 300, "%", required=False)
    read_on = forms.DateField(label="Day", required=False, widget=forms.DateInput(attrs={"type": "date"}))
    note = forms.CharField(max_length=400, required=False)

    def __init__(self, *args: Any, study: Study, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.study = study

    def clean_board(self) -> Any:
        text = self.cleaned_data["board"]
        found = boards_by_what_was_read(self.study, [text]).get(text)
        if found is None:
            raise forms.ValidationError(f"No board {text!r} in this study.")
        return found


class TapForm(BoardForm):
    """A tap read off an instrument. `client_id` is made with the page: sent twice, it is stored once."""

    resonance_hz = _number("Resonance", 20, 20_000, "Hz")
    harmonic = forms.IntegerField(label="Mode", min_value=1, max_value=20, initial=1)
    second_hz = _number("Second mode", 20, 40_000, "Hz", required=False)
    client_id = forms.UUIDField(initial=uuid.uuid4, widget=forms.HiddenInput)

    field_order = ("board", "resonance_hz", "mass_kg", "mc_pct", "harmonic", "second_hz", "read_on", "note")


class SoundForm(BoardForm):
    """A WAV file of a tap."""

    sound = forms.FileField(
        label="Recording (WAV)", widget=forms.FileInput(attrs={"accept": ".wav,audio/wav"})
    )

    field_order = ("board", "sound", "mass_kg", "mc_pct", "read_on", "note")

    def clean_sound(self) -> Any:
        found = self.cleaned_data["sound"]
        if found.size > LARGEST_WAV:
            raise forms.ValidationError(
                f"The recording is larger than {LARGEST_WAV // 1_000_000} MB: cut it to the tap."
            )
        return found


class RulesForm(forms.Form):
    """By which rule stiffness is brought to 12 %, and the classes it is held against."""

    mc_rule = forms.ChoiceField(label="To 12 % moisture by")
    classes = forms.ChoiceField(label="Classes")

    def __init__(self, *args: Any, tables: list[Any], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["mc_rule"].choices = [
            (r.name, f"{r.title} ({r.origin})") for r in MOISTURE_RULES.values()
        ]
        self.fields["classes"].choices = [(t.code, f"{t.title} ({t.origin})") for t in tables]
