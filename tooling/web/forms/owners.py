"""Forms about owners: what they are asked and answer, what they are told, whose pieces are."""

from __future__ import annotations

import re
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext, ngettext_lazy

from tooling.errors import ToolingError
from tooling.models import Answer, ApprovalKind, Owner, Piece, ReportKind, ReportNote, SetCopy
from tooling.queries.find import find_filler, find_piece
from tooling.queries.owner_waiting import Asked, question
from tooling.services.approvals import pieces_of_copy
from tooling.web.forms.fields import FoundInput, RecordForm, day, said, whole_number
from tooling.web.forms.moments import moment

MOST_NAMED = 300
_BETWEEN = re.compile(r"[,;\r\n\t]+")


class PiecesInput(forms.CharField):
    """Pieces by codes, marks or old numbers, one a line or between commas; its value is a list."""

    def __init__(self, **more: Any) -> None:
        more.setdefault("label", _("Pieces"))
        more.setdefault("help_text", _("Codes or marks, one a line or between commas."))
        widget = forms.Textarea(attrs={"rows": 4, "autocomplete": "off", "spellcheck": "false"})
        super().__init__(widget=widget, max_length=20_000, **more)

    def clean(self, value: Any) -> list[Piece]:
        text = super().clean(value)
        names = [name for each in _BETWEEN.split(text) if (name := each.strip())]
        if len(names) > MOST_NAMED:
            raise ValidationError(
                ngettext_lazy("%(n)d piece is named; at most %(most)d at once.",
                              "%(n)d pieces are named; at most %(most)d at once.", len(names)),
                params={"n": len(names), "most": MOST_NAMED}, code="too_many",
            )  # fmt: skip
        try:
            return list({(piece := find_piece(name)).pk: piece for name in names}.values())
        except ToolingError as error:
            raise said(error)


class _AboutPieces(RecordForm):
    """Which pieces: named one by one, or a whole copy of a set."""

    pieces = PiecesInput(required=False)
    copy = forms.ModelChoiceField(
        label=_("Or a whole copy of a set"),
        queryset=SetCopy.objects.none(),
        required=False,
        empty_label=_("none"),
    )

    def _offer_copies(self, **where: Any) -> None:
        rows = SetCopy.objects.filter(**where).select_related("tool_set").distinct()
        field: Any = self.fields["copy"]
        field.queryset = rows.order_by("tool_set__number", "letter")


class ApprovalForm(_AboutPieces):
    """A question or an answer."""

    kind = forms.ChoiceField(label=_("What for"), choices=ApprovalKind.choices)
    answer = forms.ChoiceField(label=_("What happened"), choices=Answer.choices, initial="asked")
    of_all = forms.BooleanField(
        label=_("About everything of theirs, counted bins too"), required=False
    )
    dated_on = day(label=_("Date on the letter"))
    until = day(label=_("Until"), required=False, help_text=_("The last day; empty: no end."))
    reference = forms.CharField(
        label=_("Reference"),
        required=False,
        max_length=120,
        help_text=_("Letter, order or mail. What was given needs one."),
    )
    answered_by = forms.CharField(label=_("Who, at the owner's"), required=False, max_length=120)
    letter = forms.FileField(
        label=_("The letter"), required=False, help_text=_("PDF, PNG, JPEG or text.")
    )
    note = forms.CharField(label=_("Note"), required=False, max_length=400)
    about = forms.IntegerField(required=False, widget=forms.HiddenInput())
    field_order = ("answer", "kind", "pieces", "copy", "of_all", "dated_on", "until", "reference",
                   "answered_by", "letter", "note")  # fmt: skip

    def __init__(self, *args: Any, owner: Owner, **more: Any) -> None:
        super().__init__(*args, **more)
        self.owner = owner
        self._offer_copies(allotments__piece__owner=owner)
        self.asked = self._question()
        if self.asked is not None and self.asked.pieces:
            self.fields["pieces"].help_text = ngettext(
                "Empty: the %(n)d piece of the question.",
                "Empty: all %(n)d pieces of the question.",
                len(self.asked.pieces),
            ) % {"n": len(self.asked.pieces)}

    def _question(self) -> Asked | None:
        number = str((self.data if self.is_bound else self.initial).get("about") or "")
        is_number = number.isdecimal() and len(number) < 19
        return question(int(number), owner=self.owner.pk) if is_number else None

    def clean(self) -> dict[str, Any]:
        """The pieces of the copy are those of it that are this owner's; none named are those of
        the question that is answered."""
        cleaned = super().clean()
        copy = cleaned.pop("copy", None)
        cleaned.pop("about", None)
        if self.asked is not None and not cleaned.get("pieces") and copy is None:
            cleaned["pieces"] = list(self.asked.pieces)
            cleaned["of_all"] = cleaned.get("of_all") or self.asked.of_all
        if copy is not None and not cleaned.get("pieces"):
            try:
                cleaned["pieces"] = pieces_of_copy(owner=self.owner, copy=copy)
            except ToolingError as error:
                self.add_error("copy", said(error))
        return cleaned


class ChangeOwnerForm(_AboutPieces):
    """Pieces that are this owner's from now on."""

    reason = forms.CharField(
        label=_("Reason"),
        max_length=400,
        help_text=_("Sold, returned, entered wrong … with the paper that says so."),
    )
    HIDDEN = ()
    field_order = ("pieces", "copy", "reason")

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        self._offer_copies(allotments__isnull=False)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        copy = cleaned.pop("copy", None)
        if copy is not None and not cleaned.get("pieces"):
            cleaned["pieces"] = list(Piece.objects.filter(allotments__copy=copy).distinct())
        if not cleaned.get("pieces") and "pieces" not in self.errors:
            self.add_error(
                "pieces", ValidationError(_("Say which pieces it is about."), code="no_pieces")
            )
        return cleaned


class ReportForm(RecordForm):
    """Something of a customer's was lost, damaged or found unsuitable."""

    what = FoundInput(
        find=find_filler,
        label=_("Piece or bin"),
        max_length=40,
        help_text=_("Its label code, mark or old number."),
    )
    quantity = whole_number(
        label=_("How many"), initial=1, min_value=1, max_value=1_000_000,
        help_text=_("Of a bin; a marked piece is one."),
    )  # fmt: skip
    kind = forms.ChoiceField(label=_("What is it"), choices=ReportKind.choices)
    what_happened = forms.CharField(
        label=_("What happened"), max_length=400, widget=forms.Textarea(attrs={"rows": 3})
    )


class NoteForm(RecordForm):
    """What became of a report."""

    what = forms.ChoiceField(
        label=_("What happened"), choices=list(ReportNote._meta.get_field("what").flatchoices)
    )
    happened_at = moment(_("When"))
    whom = forms.CharField(
        label=_("Who was told, and how"),
        required=False,
        max_length=120,
        help_text=_("Such as “J. Miller, by telephone”."),
    )
    note = forms.CharField(label=_("Note"), required=False, max_length=400)


class MarkForm(RecordForm):
    """A look for the owner's mark on one piece."""

    is_there = forms.ChoiceField(
        label=_("Is the owner's mark on it?"), choices=[("yes", _("yes")), ("no", _("no"))]
    )
    picture = forms.FileField(
        label=_("A picture of it"),
        required=False,
        widget=forms.ClearableFileInput(attrs={"accept": "image/*", "capture": "environment"}),
    )
    note = forms.CharField(label=_("Note"), required=False, max_length=200)

    def clean_is_there(self) -> bool:
        return bool(self.cleaned_data["is_there"] == "yes")
