"""A rule set typed in by hand: its name and its grades, best first."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from grading.models import Purpose, RuleSet


class RuleSetForm(forms.ModelForm):
    purpose = forms.ChoiceField(choices=Purpose.choices)
    grades = forms.CharField(
        label="Grades, best first",
        help_text="One a line. Write “reject” behind the grade of what fails, after a comma: “Out, reject”.",
        widget=forms.Textarea(attrs={"rows": 6}),
    )

    class Meta:
        model = RuleSet
        fields = ("title", "code", "purpose", "origin")
        labels = {"code": "Code (as it stands in files)", "origin": "Where the rules come from"}

    def __init__(self, *args: Any, earlier: RuleSet | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.earlier = earlier
        if earlier is not None:
            del self.fields["code"]
            lines = [f"{g.code}, reject" if g.reject else g.code for g in earlier.grades.all()]
            self.initial |= {
                "title": earlier.title,
                "purpose": earlier.purpose,
                "origin": earlier.origin,
                "grades": "\n".join(lines),
            }

    def clean_code(self) -> str:
        code = str(self.cleaned_data["code"])
        if RuleSet.objects.filter(code=code).exists():
            raise ValidationError(
                "There is a rule set of this code already: choose another, or make a new version of it."
            )
        return code

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if self.earlier is not None:
            cleaned["code"] = self.earlier.code
            described = {g.code: (g.title, g.description) for g in self.earlier.grades.all()}
            for grade in cleaned.get("grades", []):
                grade["title"], grade["description"] = described.get(grade["code"], ("", ""))
        return cleaned

    def clean_grades(self) -> list[dict[str, Any]]:
        grades = []
        for line in self.cleaned_data["grades"].splitlines():
            code, _, mark = (part.strip() for part in line.partition(","))
            if code:
                grades.append({"code": code, "reject": mark.lower() == "reject"})
        codes = [g["code"] for g in grades]
        if not codes:
            raise ValidationError("At least one grade.")
        if len(set(codes)) != len(codes):
            raise ValidationError("Each grade once.")
        if max(map(len, codes)) > 64:
            raise ValidationError("A grade's name has at most 64 characters.")
        return grades
