"""The form that writes an incident down."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from tooling.errors import ToolingError
from tooling.models import Condition, IncidentKind
from tooling.queries.at_work import PieceAtWork
from tooling.queries.find import find_piece
from tooling.services.incidents import Touched
from tooling.web.forms.fields import RecordForm, said
from tooling.web.forms.moments import moment

AFTERWARDS = [
    (Condition.HOLD, _("held until somebody has looked at them")),
    (Condition.MARKED, _("marked")),
    (Condition.CHIPPED, _("chipped")),
    (Condition.CRACKED, _("cracked")),
    (Condition.BUILD_UP, _("with build-up: to be cleaned")),
    (Condition.CHROME_WORN, _("chrome worn")),
    (Condition.DIRTY, _("dirty")),
    (Condition.SOUND, _("looked at, and sound")),
]


class IncidentForm(RecordForm):
    """What happened, to which of the proposed pieces and of those that are named besides."""

    kind = forms.ChoiceField(
        label=_("What happened"), choices=IncidentKind.choices, widget=forms.RadioSelect
    )
    pieces = forms.MultipleChoiceField(
        label=_("Touched: tick them"), required=False, widget=forms.CheckboxSelectMultiple
    )
    others = forms.CharField(
        label=_("Others that it touched"),
        required=False,
        max_length=2000,
        help_text=_("Codes or marks, with a comma between them."),
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    condition = forms.ChoiceField(
        label=_("They are now"), choices=AFTERWARDS, initial=Condition.HOLD
    )
    happened_at = moment(_("When"))
    note = forms.CharField(label=_("How it came about"), required=False, max_length=400)
    id = forms.UUIDField(required=False, widget=forms.HiddenInput)

    def __init__(
        self, *args: Any, proposed: Sequence[PieceAtWork], at: datetime, **more: Any
    ) -> None:
        super().__init__(*args, **more)
        pieces = self.fields["pieces"]
        assert isinstance(pieces, forms.MultipleChoiceField)
        pieces.choices = [(each.code, each.said) for each in proposed]
        if not proposed:
            del self.fields["pieces"]
            self.fields["others"].label = _("Which pieces it touched")
        self.fields["happened_at"].initial = timezone.localtime(at)

    def clean_others(self) -> list[Any]:
        """The pieces that are named in words, each once."""
        found: dict[str, Any] = {}
        for text in self.cleaned_data["others"].split(","):
            if text.strip():
                try:
                    piece = find_piece(text)
                except ToolingError as error:
                    raise said(error)
                found[piece.code] = piece
        return list(found.values())

    def touched(self) -> list[Touched]:
        """All that are ticked or named, in the condition that is said of them."""
        named = {piece.code: piece for piece in self.cleaned_data["others"]}
        ticked = {code: find_piece(code) for code in self.cleaned_data.get("pieces", ())}
        condition = self.cleaned_data["condition"]
        return [Touched(piece, condition) for piece in {**named, **ticked}.values()]
