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
