"""Rule sets typed in by hand: names of grades only, or a whole document."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from grading.calc.rule_set_checks import LARGEST_BYTES, TAKEN, read_text
from grading.models import Purpose, RuleSet


class RuleSetForm(forms.ModelForm):
    """A rule set without rules: its name and its grades, best first."""

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
        if code in TAKEN:
            raise ValidationError("This is the address of a page: choose another.")
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


class DocumentForm(forms.Form):
    """A whole rule set as TOML or JSON, typed or from a file. A file goes before what stands in the field."""

    text = forms.CharField(
        label="Document",
        required=False,
        strip=False,
        widget=forms.Textarea(attrs={"rows": 28, "class": "code", "spellcheck": "false"}),
        help_text="TOML; what begins with { is read as JSON.",
    )
    file = forms.FileField(
        label="Or a file",
        required=False,
        widget=forms.FileInput(attrs={"accept": ".toml,.json"}),
        help_text=".toml or .json, up to 1 MB",
    )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        text, as_json = cleaned.get("text", ""), None
        file = cleaned.get("file")
        if file is not None:
            if file.size > LARGEST_BYTES:
                self.add_error("file", "Larger than 1 MB: no rule set document.")
                return cleaned
            try:
                text = file.read().decode("utf-8-sig")
            except UnicodeDecodeError:
                self.add_error("file", "This is no text in UTF-8.")
                return cleaned
            as_json = True if file.name.lower().endswith(".json") else None
            self.data = self.data.copy()
            self.data["text"] = text  # what was in the file can be mended on the page
        if not text.strip():
            self.add_error("text", "Type a document, or choose a file.")
            return cleaned
        try:
            cleaned["content"] = read_text(text, as_json=as_json)
        except ValueError as error:
            self.add_error("text", f"{error}")
        return cleaned
