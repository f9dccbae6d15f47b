"""How figures shall be computed for a look."""

from collections.abc import Mapping
from typing import Any

from django import forms

from sawing.calc.board_volume import SIZE_BASES, SIZE_BASIS_TITLES
from sawing.calc.log_formulae import formulae
from sawing.models import Study


class FiguresForm(forms.Form):
    """Log volume formula and size basis; what is not asked for is the study's own formula and actual green sizes."""

    formula = forms.ChoiceField(label="Log volume")
    size_basis = forms.ChoiceField(
        label="Board sizes", choices=[(b, SIZE_BASIS_TITLES[b]) for b in SIZE_BASES]
    )

    def __init__(self, query: Mapping[str, str], *, study: Study) -> None:
        self.usual = {"formula": study.log_volume_formula, "size_basis": "actual_green"}
        super().__init__({name: query.get(name) or usual for name, usual in self.usual.items()})
        self.fields["formula"].choices = [(f.name, f.title) for f in formulae()]

    def choice(self) -> dict[str, Any]:
        """Arguments for `queries.study_recovery`; the usual ones when what was asked for is not known."""
        return dict(self.cleaned_data if self.is_valid() else self.usual)
