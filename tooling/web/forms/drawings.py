"""Forms of what a drawing lists beside its sizes."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from tooling.services.features import MOST_ORDER, SHAPES
from tooling.web.forms.fields import LengthInput, RecordForm, whole_number


class FeatureForm(RecordForm):
    """Something that a die makes in the strip, in the drawing's own unit."""

    shape = forms.ChoiceField(label=_("Shape"), choices=list(SHAPES.items()))
    width_nm = LengthInput(label=_("Width, or a round hole's diameter"), usual_mm=(0.5, 600))
    length_nm = LengthInput(label=_("Length"), usual_mm=(0.5, 3000))
    name = forms.CharField(label=_("Called"), required=False, max_length=60)
    note = forms.CharField(label=_("Note"), required=False, max_length=200)
    order = whole_number(label=_("No."), min_value=1, max_value=MOST_ORDER)

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["order"].help_text = str(_("In the order in which the list shows them."))
