"""How figures shall be computed for a look."""

from typing import Any

from django import forms

from sawing.calc.board_volume import SIZE_BASES, SIZE_BASIS_TITLES
from sawing.calc.log_formulae import formulae
from sawing.models import Study


class FiguresForm(forms.Form):
    """Log volume formula and size basis; both empty means the study's own formula and actual green sizes."""

    formula = forms.ChoiceField(label="Log volume", required=False)
    size_basis = forms.ChoiceField(
        label="Board sizes", required=False, choices=[(b, SIZE_BASIS_TITLES[b]) for b in SIZE_BASES]
    )

    def __init__(self, *args: Any, study: Study, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.study = study
        self.fields["formula"].choices = [(f.name, f.title) for f in formulae()]
        self.initial = {"formula": study.log_volume_formula, "size_basis": "actual_green"}

    def choice(self) -> dict[str, Any]:
        """Arguments for `queries.study_recovery`."""
        given = self.cleaned_data if self.is_bound and self.is_valid() else {}
        return {
            "formula": given.get("formula") or self.study.log_volume_formula,
            "size_basis": given.get("size_basis") or "actual_green",
        }
