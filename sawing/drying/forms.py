"""What mill staff type about drying: yards, stacks, and rows of boards with their readings."""

import datetime as dt
import uuid
from typing import Any, ClassVar

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from sawing.calc.warp import KINDS
from sawing.drying.asked import DefectAsked, PlacingAsked, ReadingAsked, SampleAsked, SizeAsked
from sawing.models import DefectKind, Stack, Study, Yard

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
MOST_ROWS = 200
DECIMAL = {"inputmode": "decimal", "autocomplete": "off"}
SCANNED = {
    "autocomplete": "off",
    "autocapitalize": "off",
    "autocorrect": "off",
    "spellcheck": "false",
    "enterkeyhint": "next",
}


def number(
    label: str, unit: str, low: float | None = None, high: float | None = None, **more: Any
) -> forms.FloatField:
    """A field for a number with its unit; a phone shows digits."""
    attrs = {**DECIMAL, **more.pop("attrs", {})}
    field = forms.FloatField(
        label=label,
        min_value=low,
        max_value=high,
        widget=forms.TextInput(attrs=attrs),
        localize=False,
        **more,
    )
    field.unit = unit
    return field


def day(label: str, **more: Any) -> forms.DateField:
    """A field for a day that is not in the future."""
    widget = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    return forms.DateField(label=label, widget=widget, validators=[_not_in_the_future], **more)


def _not_in_the_future(value: dt.date) -> None:
    if value > timezone.localdate() + dt.timedelta(days=1):
        raise ValidationError("This day has not come yet.")


class YardForm(forms.ModelForm):
    """A yard and its twelve months."""

    class Meta:
        model = Yard
        fields = ("name", "under_roof", "climate_source", "note")
        labels: ClassVar = {
            "name": "Name",
            "under_roof": "Under a roof",
            "climate_source": "Where the climate is from",
        }
        widgets: ClassVar = {"note": forms.Textarea(attrs={"rows": 2})}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        known = self.instance.climate if len(self.instance.climate) == 12 else [{}] * 12
        for at, name in enumerate(MONTHS):
            self.fields[f"t{at}"] = number(f"{name}, air", "°C", -30, 60, required=False)
            self.fields[f"h{at}"] = number(f"{name}, humidity", "%", 1, 100, required=False)
            self.fields[f"t{at}"].initial = known[at].get("temperature_c")
            self.fields[f"h{at}"].initial = known[at].get("humidity_pct")

    @property
    def months(self) -> list[tuple[str, Any, Any]]:
        """(month, field of its temperature, field of its humidity)."""
        return [(name, self[f"t{at}"], self[f"h{at}"]) for at, name in enumerate(MONTHS)]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        values = [cleaned.get(f"{what}{at}") for at in range(12) for what in "th"]
        if any(v is not None for v in values) and any(v is None for v in values) and not self.errors:
            raise ValidationError(
                "A climate needs all twelve months, each with temperature and humidity, or none."
            )
        same = Yard.objects.filter(trial=self.instance.trial, name__iexact=cleaned.get("name", ""))
        if same.exclude(pk=self.instance.pk).exists():
            self.add_error("name", "The trial has a yard of this name already.")
        return cleaned

    def values(self) -> dict[str, Any]:
        """The cleaned values under the model's names."""
        got = self.cleaned_data
        climate = [{"temperature_c": got[f"t{at}"], "humidity_pct": got[f"h{at}"]} for at in range(12)]
        filled = climate[0]["temperature_c"] is not None
        return {**{name: got[name] for name in self.Meta.fields}, "climate": climate if filled else []}


class StackForm(forms.ModelForm):
    """A stack: where it stands, how it is piled, how dry it shall become."""

    class Meta:
        model = Stack
        fields = (
            "code",
            "yard",
            "place",
            "built_on",
            "target_pct",
            "fillet_thickness_mm",
            "fillet_spacing_mm",
            "top_weight_kg",
            "note",
        )
        labels: ClassVar = {
            "code": "Code (in addresses)",
            "yard": "Yard",
            "place": "Place in the yard",
            "note": "Note",
        }
        widgets: ClassVar = {"note": forms.Textarea(attrs={"rows": 2})}

    built_on = day("Built on", required=False)
    target_pct = number(
        "Target", "%", 4, 30, required=False, help_text="Mean moisture content it shall reach."
    )
    fillet_thickness_mm = number("Fillets, thickness", "mm", 1, 200, required=False)
    fillet_spacing_mm = number("Fillets, apart", "mm", 50, 3000, required=False)
    top_weight_kg = number("Weight on top", "kg", 0, 20_000, required=False)

    def __init__(self, *args: Any, study: Study, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.study = study
        self.fields["yard"].queryset = study.trial.yards.all()
        self.fields["yard"].help_text = "Its climate gives the equilibrium that the curve dries towards."
        if self.instance.pk:
            del self.fields["code"]  # addresses of a stack stay

    def clean_built_on(self) -> dt.date | None:
        built_on: dt.date | None = self.cleaned_data["built_on"]
        released_on = self.instance.released_on
        if built_on and released_on and built_on > released_on:
            raise ValidationError(f"The stack was released on {released_on}.")
        return built_on

    def clean_code(self) -> str:
        code = str(self.cleaned_data["code"])
        if code == "new":
            raise ValidationError(
                "“new” is the address of the page that begins a stack: choose another code."
            )
        if self.study.stacks.filter(code__iexact=code).exists():
            raise ValidationError("The study has a stack of this code already.")
        return code


class PlaceForm(forms.Form):
    """Boards for a stack by scanned or typed codes, beside those ticked in the list."""

    placed_on = day("Placed on")
    layer = forms.IntegerField(
        label="Layer",
        min_value=1,
        max_value=500,
        required=False,
        help_text="Of all boards below; empty where layers are not kept.",
    )
    codes = forms.CharField(
        label="Scanned or typed codes",
        required=False,
        widget=forms.Textarea(attrs={**SCANNED, "rows": 6}),
        help_text="One a line: the code, and where wanted layer and place behind it (1646683858 3 2).",
    )
    move = forms.BooleanField(label="Take boards out of the stack they lie in", required=False)

    def __init__(self, *args: Any, ticked: list[str] | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.ticked = ticked or []

    def clean_codes(self) -> list[PlacingAsked]:
        return [_placing(line) for line in self.cleaned_data["codes"].splitlines() if line.strip()]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if not self.errors and not cleaned.get("codes") and not self.ticked:
            raise ValidationError("Tick boards in the list, or scan their codes.")
        return cleaned

    def asked(self) -> list[PlacingAsked]:
        """The boards asked for, ticked ones first."""
        layer = self.cleaned_data["layer"]
        typed = [
            PlacingAsked(p.board, layer if p.layer is None else p.layer, p.position)
            for p in self.cleaned_data["codes"]
        ]
        return [*(PlacingAsked(code, layer) for code in self.ticked), *typed]


def _placing(line: str) -> PlacingAsked:
    parts = line.split()
    tail: list[int] = []
    while len(parts) > 1 and len(tail) < 2 and parts[-1].isdecimal() and len(parts[-1]) <= 3:
        tail.insert(0, int(parts.pop()))
    return PlacingAsked(" ".join(parts), tail[0] if tail else None, tail[1] if len(tail) > 1 else None)


class VisitForm(forms.Form):
    """What holds for all readings of a visit."""

    read_on = day("Read on")
    instrument = forms.CharField(label="Meter", max_length=120, required=False)
    species_setting = forms.CharField(label="Species setting", max_length=120, required=False)


class SampleDayForm(forms.Form):
    """The day the samples were cut."""

    read_on = day("Cut on")


class RowForm(forms.Form):
    """One row about one board. A row without any of its `values` is left out; one with them needs its board."""

    values: ClassVar[tuple[str, ...]] = ()
    board = forms.CharField(
        label="Board",
        max_length=80,
        required=False,
        widget=forms.TextInput(attrs={**SCANNED, "data-scan": ""}),
    )

    @property
    def filled(self) -> bool:
        """Whether anything but the board was typed."""
        return any(self.cleaned_data.get(name) not in (None, "") for name in self.values)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if not self.errors and self.filled and not cleaned.get("board"):
            self.add_error("board", "Which board is it?")
        return cleaned


class ReadingRow(RowForm):
    values = ("reading",)
    reading = forms.CharField(
        label="Reading",
        max_length=20,
        required=False,
        widget=forms.TextInput(attrs={**DECIMAL, "enterkeyhint": "next"}),
    )
    temperature_c = number("Wood", "°C", -30, 100, required=False)
    sample = forms.CharField(label="Where on it", max_length=64, required=False)
    client_id = forms.UUIDField(required=False, widget=forms.HiddenInput)

    def asked(self) -> ReadingAsked:
        got = self.cleaned_data
        return ReadingAsked(
            got["board"], got["reading"], got["temperature_c"], got["sample"], got["client_id"]
        )


ReadingRow.base_fields["reading"].unit = "%"


class SampleRow(RowForm):
    values = ("wet_mass_g", "dry_mass_g")
    wet_mass_g = number("Wet", "g", 0.1, 100_000, required=False)
    dry_mass_g = number("Oven dry", "g", 0.1, 100_000, required=False)
    sample = forms.CharField(label="Sample", max_length=64, required=False)
    client_id = forms.UUIDField(required=False, widget=forms.HiddenInput)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        for name in self.values:
            if not self.errors and self.filled and cleaned.get(name) is None:
                self.add_error(name, "Both masses are needed.")
        return cleaned

    def asked(self) -> SampleAsked:
        got = self.cleaned_data
        return SampleAsked(
            got["board"], got["wet_mass_g"], got["dry_mass_g"], got["sample"], got["client_id"]
        )


class DefectRow(RowForm):
    values = ("kind",)
    kind = forms.ChoiceField(label="Defect", choices=[("", ""), *DefectKind.choices], required=False)
    size_mm = number("Size", "mm", 0, 5000, required=False)
    over_m = number("Measured over", "m", 0.1, 13, required=False)
    note = forms.CharField(label="Note", max_length=400, required=False)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        if not self.errors and not cleaned.get("kind") and cleaned.get("size_mm") is not None:
            self.add_error("kind", "Which defect is it?")
        return cleaned

    def asked(self, seen_on: dt.date) -> DefectAsked:
        got = self.cleaned_data
        over = got["over_m"] if got["kind"] in KINDS else None
        return DefectAsked(got["board"], got["kind"], got["size_mm"], over, seen_on, got["note"])


class SeenForm(forms.Form):
    """The day defects were seen."""

    seen_on = day("Seen on")


class SizeRow(RowForm):
    values = ("thickness_mm", "width_mm", "length_m")
    thickness_mm = number("Thickness", "mm", 1, 400, required=False)
    width_mm = number("Width", "mm", 5, 1000, required=False)
    length_m = number("Length", "m", 0.05, 13, required=False)

    def asked(self) -> SizeAsked:
        got = self.cleaned_data
        return SizeAsked(got["board"], got["thickness_mm"], got["width_mm"], got["length_m"])


class ReleaseForm(forms.Form):
    """Release of a whole stack, or of some of its boards."""

    released_on = day("Released on")
    codes = forms.CharField(
        label="Only these boards",
        required=False,
        widget=forms.Textarea(attrs={**SCANNED, "rows": 4}),
        help_text="One code a line; empty: the whole stack.",
    )
    confirm = forms.BooleanField(label="Release all the same", required=False)

    def clean_codes(self) -> list[str]:
        return [line.strip() for line in self.cleaned_data["codes"].splitlines() if line.strip()]


class TakeOutForm(forms.Form):
    """Boards taken out of a stack before they are dry, and why."""

    taken_on = day("Taken out on")
    codes = forms.CharField(
        label="Boards",
        widget=forms.Textarea(attrs={**SCANNED, "rows": 4}),
        help_text="One code a line.",
    )
    why = forms.CharField(label="Why", max_length=400, help_text="Stays on record with the boards.")

    def clean_codes(self) -> list[str]:
        return [line.strip() for line in self.cleaned_data["codes"].splitlines() if line.strip()]


def rows_of(row: type[RowForm], data: Any, blank: int, boards: list[str] | None = None) -> Any:
    """A set of rows: those of a sent form, or one for each board and as many blank ones."""
    initial = [{"board": board} for board in boards or []] + [{}] * blank
    if "client_id" in row.base_fields:
        initial = [{**one, "client_id": uuid.uuid4()} for one in initial]
    factory = forms.formset_factory(
        row, extra=0, max_num=MOST_ROWS, validate_max=True, absolute_max=MOST_ROWS + 1
    )
    return factory(data, prefix="row", initial=None if data is not None else initial)
