"""Settings of docking, a tracing, a choice of scenarios."""

from collections.abc import Mapping
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from sawing.calc.dock_flitch import Flitch
from sawing.calc.dock_rules import MOST_PARALLEL, Rules, rules_of
from sawing.columns import THICKNESS_MM
from sawing.docking.ways import grid_step
from sawing.models import Study

UNITS = {
    "min_length_mm": "mm",
    "max_length_mm": "mm",
    "length_module_mm": "mm",
    "crosscut_kerf_mm": "mm",
    "edger_kerf_mm": "mm",
    "width_oversize_pct": "%",
    "edger_clearance_mm": "mm",
    "skew_mm_per_m": "mm/m",
    "wane_edge_pct": "%",
    "wane_width_pct": "%",
    "wide_from_mm": "mm",
    "thickness_mm": "mm",
}
SAME_NAMED = (
    "min_length_mm",
    "max_length_mm",
    "length_module_mm",
    "crosscut_kerf_mm",
    "edger_kerf_mm",
    "width_oversize_pct",
    "edger_clearance_mm",
    "keep_end",
)
FIELD_OF = {
    "wane.edge_share": "wane_edge_pct",
    "wane.width_share": "wane_width_pct",
    "max_skew": "skew_mm_per_m",
}
LONGEST_TRACING = 2_000


def numbers_in(text: str) -> list[float]:
    """Numbers separated by commas, semicolons or spaces. ValueError for anything else."""
    return [float(part) for part in text.replace(",", " ").replace(";", " ").split()]


def _number(label: str, help_text: str = "", **more: Any) -> forms.FloatField:
    return forms.FloatField(label=label, help_text=help_text, **more)


def prices_of(price: float | None, wide_price: float | None, wide_from_mm: float) -> list[dict[str, float]]:
    """Prices as rules have them: one for all boards, a higher one from a width on; none where neither is given."""
    if price is None and wide_price is None:
        return []
    prices = [{"price": round(price or 0.0, 4)}]
    if wide_price is not None:
        prices.append({"price": round(wide_price, 4), "width_from": wide_from_mm})
    return prices


def _begun(first: dict[str, Any]) -> dict[str, str]:
    """The plan's rules as the form shows them."""
    shown = {name: first[name] for name in SAME_NAMED}
    shown |= {name: first[name] for name in ("max_docks", "boards_per_piece")}
    shown |= {"skew_mm_per_m": first["max_skew"] * 1000, "wane_edge_pct": 0, "wane_width_pct": 0}
    shown |= {"widths": ", ".join(f"{w:g}" for w in first["widths_mm"]), "wide_from_mm": 200}
    return {name: f"{value:g}" if isinstance(value, float) else str(value) for name, value in shown.items()}


class RulesForm(forms.Form):
    """The rules of docking and edging; what is not asked for is the study's plan."""

    widths = forms.CharField(label="Board widths", help_text="In mm, separated by commas or spaces.")
    min_length_mm = _number("Shortest board", min_value=100)
    max_length_mm = _number("Longest board", min_value=100)
    length_module_mm = _number("Length module", "Boards are cut to multiples of it.", min_value=10)
    max_docks = forms.TypedChoiceField(
        label="Docks at most", choices=[("0", "none"), ("1", "one"), ("2", "two")], coerce=int
    )
    keep_end = forms.ChoiceField(
        label="Ends of the log",
        choices=[("each", "each board keeps one"), ("none", "may be lost")],
    )
    boards_per_piece = forms.TypedChoiceField(
        label="Boards side by side",
        choices=[(str(n), str(n)) for n in range(1, MOST_PARALLEL + 1)],
        coerce=int,
    )
    crosscut_kerf_mm = _number("Crosscut kerf", min_value=0)
    edger_kerf_mm = _number("Edger kerf", min_value=0)
    width_oversize_pct = _number("Green oversize in width", "Of the width a board counts as.", min_value=0)
    edger_clearance_mm = _number("Edger clearance", "Width lost to placing the piece.", min_value=0)
    skew_mm_per_m = _number(
        "Fence may be skewed by", "0: parallel to the flitch's line.", min_value=0, max_value=1000
    )
    wane_edge_pct = _number("Wane at each edge, of thickness", min_value=0, max_value=100)
    wane_width_pct = _number("Wane at each edge, of width", "0: no wane.", min_value=0, max_value=50)
    price = _number("Price per m³", "Empty: boards count by volume.", min_value=0, required=False)
    wide_price = _number("Price per m³ of wide boards", min_value=0, required=False)
    wide_from_mm = _number("Wide from", min_value=1)

    def __init__(self, data: Mapping[str, str] | None = None, *, first: dict[str, Any]) -> None:
        begun = _begun(first)
        asked = None if data is None else {**begun, **{name: data[name] for name in data}}
        super().__init__(asked, initial=begun)
        self.first = first
        for name, field in self.fields.items():
            field.unit = UNITS.get(name, "")

    def clean_widths(self) -> list[float]:
        try:
            return numbers_in(self.cleaned_data["widths"])
        except ValueError:
            raise ValidationError("Numbers in mm, separated by commas or spaces: 75, 100, 125.") from None

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if not self.errors:
            rules, problems = rules_of(self.given(), "rules")
            for p in problems:
                column = p.column or ""
                name = FIELD_OF.get(column, "widths" if column == "widths_mm" else column.split(".")[0])
                where = name if name in self.fields else None
                self.add_error(where, f"Found {p.found or 'nothing'}; expected {p.expected}.")
            self.rules = rules
        return cleaned

    def given(self) -> dict[str, Any]:
        """The rules asked for, under the keys of the rules file."""
        asked = {k: v for k, v in self.cleaned_data.items() if v not in (None, "", [])}
        rules = {**self.first, **{name: asked[name] for name in SAME_NAMED if name in asked}}
        rules |= {name: asked[name] for name in ("max_docks", "boards_per_piece") if name in asked}
        rules["widths_mm"] = asked.get("widths", rules["widths_mm"])
        if "skew_mm_per_m" in asked:
            rules["max_skew"] = asked["skew_mm_per_m"] / 1000
        wane = {"edge_share": "wane_edge_pct", "width_share": "wane_width_pct"}
        rules["wane"] = {key: asked.get(name, 0.0) / 100 for key, name in wane.items()}
        rules["grid_step_mm"] = grid_step(rules["length_module_mm"])
        wide_from = asked.get("wide_from_mm", 200.0)
        return {**rules, "prices": prices_of(asked.get("price"), asked.get("wide_price"), wide_from)}

    rules: Rules | None = None


class TraceForm(forms.Form):
    """A flitch as traced: which one, how thick, and its stations."""

    log = forms.ChoiceField(label="Log")
    flitch = forms.CharField(label="Flitch", max_length=64, help_text="Its number within the log.")
    thickness_mm = forms.FloatField(
        label="Thickness", min_value=THICKNESS_MM[0], max_value=THICKNESS_MM[1], help_text="As sawn."
    )
    stations = forms.CharField(
        label="Stations",
        widget=forms.Textarea(attrs={"rows": 6, "spellcheck": "false", "class": "code"}),
        help_text=(
            "One a line, from the butt end: place along the flitch, left edge, right edge, in mm. Written by the"
            " tracing above; may be typed."
        ),
        max_length=60_000,
    )

    def __init__(self, *args: Any, study: Study, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        codes = study.logs.order_by("code").values_list("code", flat=True)
        self.fields["log"].choices = [(code, code) for code in codes]
        self.fields["thickness_mm"].unit = "mm"

    def clean_stations(self) -> list[list[float]]:
        lines = [line for line in self.cleaned_data["stations"].splitlines() if line.strip()]
        if not 2 <= len(lines) <= LONGEST_TRACING:
            raise ValidationError(f"From 2 to {LONGEST_TRACING} stations; found {len(lines)}.")
        stations = []
        for number, line in enumerate(lines, start=1):
            try:
                station = numbers_in(line)
            except ValueError:
                station = []
            if len(station) != 3:
                raise ValidationError(
                    f"Line {number} reads “{line[:40]}”: three numbers are expected, decimals with a point."
                )
            stations.append(station)
        return stations

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if not self.errors:
            x, left, right = zip(*cleaned["stations"], strict=True)
            try:
                self.traced = Flitch(
                    cleaned["flitch"].strip(), cleaned["thickness_mm"], x, left, right, log=cleaned["log"]
                )
            except ValueError as error:
                self.add_error("stations", f"These are no outline: {error}.")
        return cleaned

    traced: Flitch | None = None


class ScenariosForm(forms.Form):
    """Which ways of sawing to compare on the logs of a study."""

    name = forms.CharField(label="Name of the table", max_length=200, initial="Ways of sawing")
    ways = forms.MultipleChoiceField(label="Ways of sawing", widget=forms.CheckboxSelectMultiple)
    wide_mm = forms.FloatField(label="Boards count as wide from", min_value=1, max_value=1000, initial=200)
    price = _number(
        "Price per m³", "Empty: boards count by volume.", min_value=0, max_value=1e5, required=False
    )
    wide_price = _number("Price per m³ of wide boards", min_value=0, max_value=1e5, required=False)

    def __init__(self, *args: Any, ways: list[dict[str, Any]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.all_ways = ways
        choices = [(str(at), way["name"]) for at, way in enumerate(ways)]
        self.fields["ways"].choices = choices
        self.fields["ways"].initial = [value for value, _ in choices]
        self.fields["wide_mm"].unit = "mm"

    def chosen(self) -> list[dict[str, Any]]:
        """The parameters of the ways chosen, in their order."""
        picked = set(self.cleaned_data["ways"])
        asked = {k: v for k, v in self.cleaned_data.items() if v is not None}
        prices = prices_of(asked.get("price"), asked.get("wide_price"), self.cleaned_data["wide_mm"])
        return [
            {**way, "rules": {**way["rules"], "prices": prices}}
            for at, way in enumerate(self.all_ways)
            if str(at) in picked
        ]
