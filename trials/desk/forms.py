"""Forms of traits and assessments."""

import datetime as dt
import re
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Q, QuerySet
from django.utils import timezone

from portal.models import Role, User
from trials.desk.measured import OWN, trait_list
from trials.models import Assessment, Site, Trait, TraitKind, Trial

CODE_TAKEN = "There is a trait of this code already; capital letters make no difference. Choose another."
CODE_WRONG = "Small letters, digits and underscores, a letter first: branch_mm."
NAME_TAKEN = "This site has an assessment of this name already. Add the year or the season."
EARLIEST_VISIT = dt.date(1900, 1, 1)


class TraitForm(forms.ModelForm):
    """A trait of the dictionary. Code and kind of a trait that exists stay: stored values hold them."""

    points = forms.CharField(
        label="Points of the scale",
        required=False,
        widget=forms.Textarea(attrs={"rows": 6}),
        help_text="For an ordinal scale: one point a line, its number first: “1 straight over its whole length”.",
    )

    class Meta:
        model = Trait
        fields = (
            "name",
            "code",
            "kind",
            "unit",
            "decimals",
            "minimum",
            "maximum",
            "shrinks",
            "points",
            "method",
            "instrument",
            "position",
            "active",
        )
        labels = {
            "code": "Code (column name in files)",
            "minimum": "Least usual value",
            "maximum": "Most usual value",
            "shrinks": "May be smaller than last time",
            "position": "Place in the dictionary",
            "active": "In use",
        }
        help_texts = {
            "code": (
                "Short, with its unit; stand figures read dbh_mm and height_m. It cannot be changed later."
            ),
            "kind": "It cannot be changed later.",
            "decimals": "How finely the instrument reads: 0 for whole units.",
            "minimum": "A value beyond the limits is asked about, never refused.",
            "shrinks": "Otherwise a smaller value is asked about.",
            "method": "How it is measured, so that every crew does it alike.",
            "active": "Traits out of use keep their values and are not offered for new assessments.",
        }
        error_messages = {"code": {"invalid": CODE_WRONG}}
        widgets = {
            "method": forms.Textarea(attrs={"rows": 3}),
            "minimum": forms.NumberInput(attrs={"step": "any"}),
            "maximum": forms.NumberInput(attrs={"step": "any"}),
        }

    def __init__(self, *args: Any, trial: Trial, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.trial = trial
        self.initial["points"] = "\n".join(f"{p['value']} {p['text']}" for p in self.instance.points or [])
        self.fields["position"].required = self.fields["decimals"].required = False
        if self.instance.pk:
            del self.fields["code"], self.fields["kind"]
        else:
            del self.fields["active"]
            self.initial["position"] = None

    def clean_code(self) -> str:
        code = str(self.cleaned_data["code"])
        if code in OWN:
            raise ValidationError(f"“{code}” is another column of the table of values: choose another code.")
        if self.trial.traits.filter(code__iexact=code).exists():
            raise ValidationError(CODE_TAKEN)
        return code

    @property
    def filled(self) -> dict[str, Any]:
        """What the action gets: without a place, a new trait goes to the end of the dictionary."""
        return {n: v for n, v in self.cleaned_data.items() if n != "position" or v is not None}

    def clean_position(self) -> int | None:
        position: int | None = self.cleaned_data["position"]
        return self.instance.position if position is None and self.instance.pk else position

    def clean_decimals(self) -> int:
        decimals = self.cleaned_data["decimals"] or 0
        if decimals > 6:
            raise ValidationError("At most 6 decimals.")
        return decimals

    def clean_points(self) -> list[dict[str, Any]]:
        return read_points(self.cleaned_data["points"])

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        low, high = cleaned.get("minimum"), cleaned.get("maximum")
        if low is not None and high is not None and low > high:
            raise ValidationError({"maximum": "The most usual value is at least the least one."})
        kind = self.instance.kind if self.instance.pk else cleaned.get("kind")
        if kind == TraitKind.ORDINAL and "points" in cleaned and len(cleaned["points"]) < 2:
            raise ValidationError({"points": "An ordinal scale needs at least two points, each described."})
        if kind != TraitKind.ORDINAL and cleaned.get("points"):
            raise ValidationError({"points": "Only an ordinal scale has points: leave this empty."})
        return cleaned


def read_points(text: str) -> list[dict[str, Any]]:
    """The points of an ordinal scale from lines such as "1 straight", in the order of their numbers.

    :raises ValidationError: a line without number or words, a number twice.
    """
    points: dict[int, str] = {}
    for line in filter(None, (line.strip() for line in text.splitlines())):
        found = re.fullmatch(r"(\d{1,3})\s*[.:=–-]?\s+(\S.*)", line)
        if found is None:
            raise ValidationError(f"“{line}”: begin with the number of the point, then describe it.")
        value = int(found[1])
        if value in points:
            raise ValidationError(f"Point {value} stands twice.")
        points[value] = found[2]
    return [{"value": value, "text": points[value]} for value in sorted(points)]


def told(form: forms.BaseForm, refused: ValidationError) -> None:
    """What an action would not do, beside the fields it is about."""
    for name, texts in getattr(refused, "message_dict", {None: refused.messages}).items():
        form.add_error(name if name in form.fields else None, texts)


class SiteChoice(forms.ModelChoiceField):
    """Sites by their names, where they have one."""

    def label_from_instance(self, obj: Site) -> str:
        return f"{obj.name} ({obj.code})" if obj.name else obj.code


class AssessmentForm(forms.Form):
    """Opens an assessment, or changes one: where, from which day, which traits in which order, who measures."""

    site = SiteChoice(Site.objects.none(), label="Site", empty_label=None)
    name = forms.CharField(label="Name", max_length=120, help_text="Such as “Winter 2026”.")
    measured_from = forms.DateField(
        label="First day", widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    crew = forms.ModelMultipleChoiceField(
        User.objects.none(),
        label="Crew",
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="Field crew and managers of the trial. All of them may enter; those ticked are named here.",
    )
    note = forms.CharField(label="Note", required=False, widget=forms.Textarea(attrs={"rows": 3}))

    def __init__(self, *args: Any, trial: Trial, instance: Assessment | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.instance = instance
        self.fields["site"].queryset = trial.sites.all()
        self.fields["crew"].queryset = crew_of(trial)
        own = trait_list(instance) if instance else []
        self.traits = list(trial.traits.filter(Q(active=True) | Q(pk__in=[t.pk for t in own])))
        if instance:
            del self.fields["site"]
            self.initial |= {name: getattr(instance, name) for name in ("name", "measured_from", "note")}
            self.initial["crew"] = list(instance.crew.values_list("pk", flat=True))
        numbers = {t.pk: place for place, t in enumerate(own, start=1)}
        for place, trait in enumerate(self.traits, start=1):
            self.fields[f"trait_{trait.pk}"] = forms.IntegerField(
                label=str(trait),
                required=False,
                min_value=1,
                max_value=99,
                initial=numbers.get(trait.pk) if instance else place if place <= 4 else None,
            )

    @property
    def trait_fields(self) -> list[forms.BoundField]:
        return [self[f"trait_{trait.pk}"] for trait in self.traits]

    @property
    def plain_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in ("site", "name", "measured_from") if name in self.fields]

    def clean_measured_from(self) -> dt.date:
        day: dt.date = self.cleaned_data["measured_from"]
        if not EARLIEST_VISIT <= day <= timezone.now().date() + dt.timedelta(days=366):
            raise ValidationError("Between 1900 and a year from now.")
        return day

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        site, name = self.instance.site if self.instance else cleaned.get("site"), cleaned.get("name")
        others = Assessment.objects.exclude(pk=self.instance and self.instance.pk)
        if site and name and others.filter(site=site, name__iexact=name).exists():
            self.add_error("name", NAME_TAKEN)
        numbered = [(cleaned.get(f"trait_{t.pk}"), place, t) for place, t in enumerate(self.traits)]
        cleaned["traits"] = [t for number, _, t in sorted(n for n in numbered if n[0])]
        if not cleaned["traits"] and not any(f"trait_{t.pk}" in self.errors for t in self.traits):
            raise ValidationError("Number at least one trait: 1 is entered first.")
        return cleaned


def crew_of(trial: Trial) -> QuerySet[User]:
    """Those who may enter measurements: field crew and managers of the trial."""
    return User.objects.filter(
        memberships__trial=trial,
        memberships__active=True,
        memberships__role__in=[Role.FIELD_CREW, Role.MANAGER],
    ).distinct()
