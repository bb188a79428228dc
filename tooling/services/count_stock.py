"""How many are in a bin, as somebody counted. The record is corrected when the count closes."""

from __future__ import annotations

from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext as _number

from tooling.errors import Conflict, ToolingError
from tooling.models import Count, CountEntry, StockLine
from tooling.queries.count_bins import counted_between, effects_since
from tooling.queries.count_words import subject_of
from tooling.services.count_marks import Mark, Said, counted_already, newest, write_entry

MOST_IN_A_BIN = 1_000_000


def take_bin(mark: Mark, line: StockLine) -> Said:
    count, quantity = mark.count, mark.scan.quantity
    line = StockLine.objects.select_related("drawing", "owner", "place").get(pk=line.pk)
    _check_bin_belongs(count, line)
    if quantity is None:
        raise ToolingError(
            "how_many",
            _("How many {drawing} are in bin {label}? Type the number."),
            drawing=line.drawing.number,
            label=line.code,
        )
    if not 0 <= quantity <= MOST_IN_A_BIN:
        raise ToolingError(
            "absurd_quantity",
            _("{quantity} cannot be the number in a bin. Write 0 to {most}."),
            quantity=quantity,
            most=MOST_IN_A_BIN,
            in_field="quantity",
        )
    stands = newest(count, line=line)
    if stands is not None and stands.quantity == quantity:
        return counted_already(line.code, stands)
    entry = write_entry(mark, mark.place or line.place, line=line, quantity=quantity)
    return Said(_said_of_bin(line, entry, stands), line.place.code, entry)


def _check_bin_belongs(count: Count, line: StockLine) -> None:
    told = {"label": line.code, "drawing": line.drawing.number}
    if count.owner is not None and line.owner_id != count.owner_id:
        raise Conflict(
            "not_this_owner",
            _("Bin {label} of {drawing} belongs to {owner}; this count is of the tooling of "
              "{counted}. Leave it where it is."),
            owner=line.owner.name,
            counted=count.owner.name,
            **told,
        )  # fmt: skip
    if count.set_copy is not None:
        raise Conflict(
            "not_of_this_copy",
            _("Bin {label} of {drawing} is pooled stock and of no set; {counted} is counted piece "
              "by piece."),
            counted=subject_of(count),
            **told,
        )  # fmt: skip
    if count.place is not None and not line.place.path.startswith(count.place.path):
        raise Conflict(
            "bin_elsewhere",
            _("By the record bin {label} of {drawing} is in {place}. Move what is in it on the "
              "Scan page, or count it there."),
            place=line.place.path_name or line.place.name,
            **told,
        )  # fmt: skip


def _said_of_bin(line: StockLine, entry: CountEntry, stands: CountEntry | None) -> str:
    """The number with what the record had at that moment; who counted otherwise before."""
    later, _anew = counted_between(
        effects_since(entry.count, [line.pk]), line.pk, entry.happened_at
    )
    recorded = max(0, line.count - later)
    said = _number(
        "{n} {drawing} in bin {label}; the record had {recorded}.",
        "{n} {drawing} in bin {label}; the record had {recorded}.",
        entry.quantity,
    )
    if stands is not None:
        said = _now("{n} {drawing} in bin {label}, not {before} as {who} counted.")
    return said.format(
        n=entry.quantity,
        drawing=line.drawing.number,
        label=line.code,
        recorded=recorded,
        before=stands.quantity if stands else "",
        who=(stands.by if stands else None) or "-",
    )
