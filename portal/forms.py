"""Forms of the site itself."""

from typing import Any

from django import forms
from django.conf import settings
from django.core.exceptions import ValidationError

from portal.uploads.registry import kind_named

TRIAL_WIDE = ""


class UploadForm(forms.Form):
    """Which kind of file, where its rows go, and the file."""

    kind = forms.ChoiceField(label="Kind of file")
    place = forms.ChoiceField(label="Goes into", help_text="Logs, boards and grades go into a study.")
    file = forms.FileField(
        label="File",
        help_text=f"CSV or XLSX, up to {settings.UPLOAD_LIMIT_BYTES >> 20} MB. Nothing is stored before you say so.",
        allow_empty_file=True,
    )

    def __init__(
        self, *args: Any, kinds: list[tuple[str, str]], places: list[tuple[str, str]], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.fields["kind"].choices = kinds
        self.fields["place"].choices = places

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if "kind" in cleaned and "place" in cleaned:
            kind = kind_named(cleaned["kind"])
            if kind.scope == "study" and "/" not in cleaned["place"]:
                raise ValidationError({"place": f"{kind.file.title} belong to a study: choose one."})
            if kind.scope == "trial":
                # A study was left chosen: its trial is meant.
                cleaned["place"] = cleaned["place"].split("/")[0]
        return cleaned

    def clean_file(self) -> Any:
        file = self.cleaned_data["file"]
        if file.size > settings.UPLOAD_LIMIT_BYTES:
            raise ValidationError(
                f"{file.name} has {file.size / 1e6:.0f} MB; at most {settings.UPLOAD_LIMIT_BYTES / 1e6:.0f} MB are"
                " taken. Split it, or leave out columns that are not needed. Nothing was stored."
            )
        return file
