"""The fields of the rule set's form, with their values, choices and what is wrong with each."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from grading.calc.rule_limits import METRICS, ORIGINS, PLACES
from grading.calc.rule_set_checks import PURPOSES
from grading.calc.rules_shown import METRIC_WORDS, PLACE_WORDS
from grading.rules.edited import SWITCHES, Edited

Choices = tuple[tuple[str, str], ...]
UNSET: Choices = (("", "choose"),)
CHOICES: dict[str, Choices] = {
    "place": tuple((p, PLACE_WORDS[p]) for p in PLACES),
    "metric": tuple((m, f"{METRIC_WORDS[m]} ({m})") for m in METRICS),
    "origin": tuple((o, o) for o in ORIGINS),
    "purpose": tuple((p, p) for p in PURPOSES),
}
LABELS = {
    "code": "Code",
    "title": "Title",
    "purpose": "Purpose",
    "edition": "Edition",
    "origin": "Where the rules come from",
    "caution": "A caution of its own",
    "description": "What it is",
    "reject": "Rejects: what fails every grade",
    "min_length_mm": "Shortest piece",
    "kinds": "Kinds of features or groups",
    "place": "Where on the piece",
    "metric": "What is measured",
    "window_mm": "Counted together in",
    "below_mm": "Ignored below",
    "when_margin_above": "Only where the outer quarter is filled above",
    "over_mm": "Warp over a length of",
    "per_width_mm": "Warp for each width of",
    "source": "Source",
    "clause": "Clause",
    "length_module_mm": "Lengths are multiples of",
    "cut_step_mm": "Pieces begin at multiples of",
    "length_allowance_mm": "Length taken beyond the piece’s",
    "widths_mm": "Widths of pieces",
    "width_allowance_mm": "Width taken beyond the piece’s",
    "width_allowance_share": "The same as a share of the width",
    "min_width_mm": "Narrowest piece",
    "rip_step_mm": "Strips begin at multiples of",
    "keep_full_width": "The board’s own full width is one choice",
    "may_rip": "Boards may be ripped",
    "margin_share": "Margin, share of the width on each side",
    "may_split": "A board may give several pieces",
    "kerf_mm": "Kerf between pieces",
}
HINTS = {
    "kinds": "With commas between them: knots, bark pocket",
    "window_mm": "0: in one cross-section. Empty: each feature alone",
    "widths_mm": "With commas between them. Empty: any strip",
}


@dataclass(frozen=True)
class Field:
    """One field: `kind` is text, long, choice or tick. `error`: all that is wrong with it."""

    name: str
    label: str
    value: str
    error: str = ""
    kind: str = "text"
    choices: Choices = ()
    unit: str = ""
    hint: str = ""


@dataclass(frozen=True)
class RowShown:
    """A grade or a limit in the form; `values`: a limit's value for each grade that accepts something."""

    at: int
    number: int
    fields: tuple[Field, ...]
    more: tuple[Field, ...] = ()
    values: tuple[Field, ...] = ()


@dataclass(frozen=True)
class FormShown:
    """The form as its page shows it. `problems`: (name of the field or "", label, sentence), all of them."""

    top: tuple[Field, ...]
    grades: tuple[RowShown, ...]
    limits: tuple[RowShown, ...]
    piece: tuple[Field, ...]
    switches: tuple[Field, ...]
    problems: tuple[tuple[str, str, str], ...] = field(default=())


def form_shown(edited: Edited, problems: Sequence[tuple[str, str]] = (), *, new: bool = False) -> FormShown:
    """The form with the problems of its document beside their fields. `new`: the code can still be chosen."""
    wrong: dict[str, list[str]] = {}
    for key, sentence in problems:
        wrong.setdefault(edited.place_of(key), []).append(sentence)

    def made(name: str, value: str, prefix: str = "") -> Field:
        kind = "choice" if name in CHOICES else "tick" if name in (*SWITCHES, "reject") else "text"
        kind = "long" if name in ("caution", "description") else kind
        choices = CHOICES.get(name, ())
        if prefix == "" and name == "origin":
            kind, choices = "text", ()
        if kind == "choice" and value not in dict(choices):
            choices = (*UNSET, *choices) if not value else ((value, f"{value} (unknown)"), *choices)
        label = "Origin" if prefix and name == "origin" else LABELS[name]
        unit = "mm" if name.endswith("_mm") else ""
        full = prefix + name
        error = "; ".join(wrong.get(full, []))
        return Field(full, label, value, error, kind, choices, unit, HINTS.get(name, ""))

    top_names = [
        n for n in ("code", "title", "purpose", "edition", "origin", "caution") if new or n != "code"
    ]
    grades, limits = [], []
    for at, row in enumerate(edited.grades):
        names = ("code", "title", "min_length_mm", "description", "reject")
        fields = tuple(made(n, row.get(n, ""), f"grade-{at}-") for n in names)
        grades.append(RowShown(at, at + 1, fields))
    accepting = [(n, g.get("code", "").strip()) for n, g in enumerate(edited.grades) if not g.get("reject")]
    for at, row in enumerate(edited.limits):
        first = ("kinds", "place", "metric")
        rest = (
            "origin", "source", "clause", "window_mm", "below_mm", "when_margin_above", "over_mm", "per_width_mm"
        )  # fmt: skip
        names = [f"limit-{at}-value-{n}" for n, _ in accepting]
        values = tuple(
            Field(name, code or f"grade {n + 1}", row.get(f"value-{n}", ""), "; ".join(wrong.get(name, [])))
            for name, (n, code) in zip(names, accepting, strict=True)
        )
        limits.append(
            RowShown(
                at,
                at + 1,
                tuple(made(n, row.get(n, ""), f"limit-{at}-") for n in first),
                tuple(made(n, row.get(n, ""), f"limit-{at}-") for n in rest),
                values,
            )
        )
    piece = [made(n, v, "piece-") for n, v in edited.piece.items()]
    return FormShown(
        tuple(made(n, edited.top.get(n, "")) for n in top_names),
        tuple(grades),
        tuple(limits),
        tuple(f for f in piece if f.kind != "tick"),
        tuple(f for f in piece if f.kind == "tick"),
        tuple((edited.place_of(key), _label(key), sentence) for key, sentence in problems),
    )


def _label(key: str) -> str:
    """A key as people say it: "limits 3, metric" is "Limit 3, what is measured"."""
    part, _, rest = key.partition(", ")
    word, _, number = part.partition(" ")
    if number:
        word = f"{word.removesuffix('s')} {number}"
    name, _, grade = rest.partition(", ")
    words = [word, LABELS.get(name, name).lower(), grade]
    text = ", ".join(w for w in words if w)
    return text[:1].upper() + text[1:]
