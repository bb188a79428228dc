"""An owner's register and the list of what tooling is worth, on paper and as a sheet.

A register of many pieces with their pictures is drawn by the worker; it can be watched, stopped
and fetched as the task's file.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterator, Sequence
from datetime import datetime
from functools import lru_cache
from itertools import groupby
from pathlib import Path

from django.conf import settings
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from PIL import Image

from tooling.engineering.money import plain_money, say_money
from tooling.errors import Conflict
from tooling.models import Owner, Person, Piece, Shop, StoredFile, Task
from tooling.paper.insured_list import Column, InsuredSheet, Table, insured_pdf
from tooling.paper.owner_register import register_pdf
from tooling.paper.pages import PaperName, paper_size
from tooling.paper.register_sheet import CountRow, RegisterPlace, RegisterSheet
from tooling.paper.register_sheet import RegisterRow as PaperRow
from tooling.permissions import Verb, check_can
from tooling.queries.owner_register import (
    BY_PLACE,
    BinRow,
    RegisterRow,
    bin_rows,
    pieces_of,
    register_rows,
)
from tooling.queries.owner_values import InsuredPage, Total, currency, insured_page, value_rows
from tooling.services import files, tasks
from tooling.services.write import writing
from tooling.spreadsheets.cells import guard

MOST_AT_ONCE = 120
"""A register of more pieces than this is drawn by the worker."""

MOST_LISTED = 5_000
"""So many pieces the list of values holds on paper; more only as a sheet."""

KIND = "register"
PRINTED_PX = (240, 180)
"""A picture 26 mm wide at some 230 dots an inch: half the small copy, which costs no resampling."""

CHUNK = 250
"""So many pieces are read between two words of progress."""

READING = 0.15
"""The share of the work that reading is."""

Progress = Callable[[float], None]


def ask_for_register(*, by: Person, at: datetime, owner: Owner, paper: str) -> int | None:
    """Have the worker draw a large register and give back the task's number; None for a small one,
    which is drawn while one waits. Raises ``unknown_paper``."""
    paper_size(paper)
    if pieces_of(owner).count() <= MOST_AT_ONCE:
        check_can(by, Verb.EXPORT)
        return None
    return ask_to_draw(by=by, at=at, owner=owner, paper=paper).pk


def ask_to_draw(*, by: Person, at: datetime, owner: Owner, paper: str) -> Task:
    """Have the worker draw a register, however large. Raises ``unknown_paper``."""
    check_can(by, Verb.EXPORT)
    paper_size(paper)
    given = {"owner": owner.code, "paper": paper}
    return tasks.ask(by=by, at=at, kind=KIND, given=given)


def check_small(owner: Owner) -> None:
    """Raise Conflict ``register_is_large`` for one that only the worker draws."""
    count = pieces_of(owner).count()
    if count > MOST_AT_ONCE:
        raise Conflict(
            "register_is_large",
            gettext_lazy("{owner} has {count} pieces here: that register is drawn in the "
                         "background. Ask for it on the owner's page."),
            owner=owner.name,
            count=count,
        )  # fmt: skip


def draw_register(
    *, owner: Owner, at: datetime, paper: PaperName, progress: Progress | None = None
) -> bytes:
    """The register as of now as a PDF; writes nothing. Raises ``unknown_paper``."""
    paper_size(paper)
    told = progress or (lambda share: None)
    sheet = register_sheet(owner=owner, at=at, progress=lambda share: told(share * READING))
    return register_pdf(
        sheet, paper=paper, progress=lambda share: told(READING + share * (1 - READING))
    )


def draw_and_keep(
    *, at: datetime, task_id: int, owner: Owner, paper: PaperName, progress: Progress
) -> StoredFile:
    """The worker's part: the PDF as the task's file, in one short write."""
    data = draw_register(owner=owner, at=at, paper=paper, progress=progress)
    with writing():
        file = files.store_made(data=data, at=at)
        tasks.keep_file(task_id=task_id, file=file)
    return file


def _rows(
    owner: Owner, money: str, progress: Progress
) -> list[tuple[RegisterRow, PaperRow]]:  # fmt: skip
    """An owner's pieces by place, each with what the paper says, read a part at a time."""
    progress(0.0)
    keys = list(pieces_of(owner).order_by(*BY_PLACE).values_list("pk", flat=True))
    found: list[tuple[RegisterRow, PaperRow]] = []
    for start in range(0, len(keys), CHUNK):
        part = Piece.objects.filter(pk__in=keys[start : start + CHUNK])
        rows = register_rows(part.order_by(*BY_PLACE))
        found += [(row, _paper_row(row, money)) for row in rows]
        progress(len(found) / len(keys))
    return found


def register_sheet(
    *, owner: Owner, at: datetime, progress: Progress = lambda share: None
) -> RegisterSheet:
    """What the paper says of an owner's tooling."""
    bins, money = bin_rows(owner), currency()
    both = _rows(owner, money, progress)
    rows = [row for row, _paper in both]
    local = timezone.localtime(at)
    shop = Shop.objects.filter(pk=1).values_list("name", flat=True).first() or ""
    said = ngettext("{n} piece on {day}, kept by {shop}.", "{n} pieces on {day}, kept by {shop}.",
                    len(rows))  # fmt: skip
    day = f"{local:%Y-%m-%d %H:%M}"
    return RegisterSheet(
        title=_("Tooling of {owner}").format(owner=owner.name),
        owner_code=owner.code,
        printed_at=local,
        sentence=said.format(n=len(rows), day=day, shop=shop or _("this shop")),
        facts=_facts(owner, rows, money),
        places=tuple(
            RegisterPlace(place, code, tuple(paper for _row, paper in inside))
            for (place, code), inside in groupby(both, key=_place_of)
        ),
        counts=tuple(_count_row(row) for row in bins),
        picture=lru_cache(maxsize=64)(_printed),
    )


def _place_of(both: tuple[RegisterRow, PaperRow]) -> tuple[str, str]:
    row, _paper = both
    return row.place, row.place_code


def _facts(owner: Owner, rows: Sequence[RegisterRow], money: str) -> tuple[tuple[str, str], ...]:
    valued = [row.value_cents for row in rows if row.value_cents is not None]
    worth = say_money(sum(valued), money)
    if len(valued) < len(rows):
        worth = _("{worth}; {count} not valued").format(worth=worth, count=len(rows) - len(valued))
    marks = [row.has_mark for row in rows]
    said = _("{yes} bear it, {no} do not, {never} never looked at").format(
        yes=marks.count(True), no=marks.count(False), never=marks.count(None)
    )
    return (
        (_("Contact"), owner.contact),
        (_("Insured"), owner.insurance_reference),
        (_("Consent to other jobs"), owner.consent_reference),
        (_("Value"), worth if rows else ""),
        (_("Owner's mark"), said if rows else ""),
    )


def _paper_row(row: RegisterRow, money: str) -> PaperRow:
    name = " ".join(filter(None, (row.mark, row.copy_letter))) or row.drawing
    reports = ngettext("{n} report is open", "{n} reports are open", row.open_reports)
    mark = {True: _("yes"), False: _("no"), None: _("never looked at")}[row.has_mark]
    checked = f"{mark}, {day_of(row.mark_checked_at)}" if row.mark_checked_at else mark
    value = say_money(row.value_cents, money) if row.value_cents is not None else _("not valued")
    return PaperRow(
        name=name,
        code=row.code,
        what=(
            _("{drawing} revision {revision}").format(drawing=row.drawing, revision=row.revision),
            row.set_and_pass or _("in no set"),
        ),
        facts=(
            (_("Condition"), row.condition_word),
            (_("Value"), value),
            (_("Owner's mark"), checked),
            (_("Last counted"), day_of(row.counted_at) or _("never")),
            (_("Last seen"), day_of(row.seen_at) or _("not yet seen")),
        ),
        note=reports.format(n=row.open_reports) if row.open_reports else "",
        picture=row.small,
    )


def _count_row(row: BinRow) -> CountRow:
    counted = day_of(row.counted_at)
    note = _("counted {day}").format(day=counted) if counted else row.condition_word
    return CountRow(row.code, row.drawing, row.count, row.place, note)


def day_of(moment: datetime | None) -> str:
    """The day in the shop's zone, or nothing."""
    return f"{timezone.localtime(moment):%Y-%m-%d}" if moment is not None else ""


def _printed(sha256: str) -> bytes | None:
    """A picture's small copy as small as it is printed; None when the folder lost it."""
    path = Path(settings.FILES_DIR) / sha256
    if not path.exists():
        return None
    with Image.open(path) as small:
        small.draft("RGB", PRINTED_PX)
        picture = small.convert("RGB")
    picture.thumbnail(PRINTED_PX, reducing_gap=1.0)
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=70)
    return out.getvalue()


def insured_sheet(*, owner: Owner | None, at: datetime) -> InsuredSheet:
    """The list of values as the paper says it. Raises Conflict ``too_many_to_print``."""
    page = insured_page(owner)
    if page.total.pieces > MOST_LISTED:
        raise Conflict(
            "too_many_to_print",
            gettext_lazy("{count} pieces are too many to print; at most {most}. Choose one owner, "
                         "or take the sheet for a spreadsheet program."),
            count=page.total.pieces,
            most=MOST_LISTED,
        )  # fmt: skip
    local = timezone.localtime(at)
    money = page.currency
    worth = say_money(page.total.value_cents, money)
    title = _("Value of the tooling of {owner}") if owner else _("Value of the tooling kept here")
    return InsuredSheet(
        title=title.format(owner=page.owner_name),
        sentence=_("{worth} on {day}: {count} pieces, of which {unvalued} are not valued.").format(
            worth=worth, day=f"{local:%Y-%m-%d %H:%M}", count=page.total.pieces,
            unvalued=page.total.unvalued,
        ),
        printed_at=local,
        tables=(*_totals(page), _pieces_table(owner, money)),
    )  # fmt: skip


def draw_insured(*, owner: Owner | None, at: datetime, paper: PaperName) -> bytes:
    """The list of values as a PDF. Raises ``unknown_paper`` and as `insured_sheet`."""
    paper_size(paper)
    return insured_pdf(insured_sheet(owner=owner, at=at), paper=paper)


def _totals(page: InsuredPage) -> tuple[Table, Table]:
    heads = (Column(_("Insured"), 0.26), Column(_("Pieces"), 0.12, is_number=True),
             Column(_("Not valued"), 0.14, is_number=True),
             Column(_("Value"), 0.2, is_number=True))  # fmt: skip
    total = _total_row(page.total, page.currency, _("In all"))
    by_owner = tuple(_total_row(each, page.currency, each.name) for each in page.by_owner)
    by_place = tuple(_total_row(each, page.currency, each.name) for each in page.by_place)
    return (
        Table(_("By owner"), (Column(_("Owner"), 0.28), *heads), (*by_owner, total), True),
        Table(_("By place"), (Column(_("Place"), 0.28), *heads), (*by_place, total), True),
    )


def _total_row(each: Total, money: str, name: str) -> tuple[str, ...]:
    value = say_money(each.value_cents, money)
    return (name, each.insurance, str(each.pieces), str(each.unvalued), value)


def _pieces_table(owner: Owner | None, money: str) -> Table:
    columns = (Column(_("Piece"), 0.12), Column(_("Mark"), 0.18), Column(_("Owner"), 0.2),
               Column(_("Place"), 0.32), Column(_("Value"), 0.18, is_number=True))  # fmt: skip
    rows = tuple(
        (
            row.code, row.mark or row.drawing, row.owner_name, row.place,
            say_money(row.value_cents, money) if row.value_cents is not None else _("not valued"),
        )
        for row in value_rows(owner)
    )  # fmt: skip
    return Table(_("Piece by piece"), columns, rows)


def insured_csv(*, owner: Owner | None) -> Iterator[str]:
    """The list of values line by line, in the shop's currency; money as plain decimals. UTF-8
    with its mark, as the other sheets."""
    buffer = io.StringIO(newline="")
    buffer.write("\ufeff")
    writer = csv.writer(buffer, lineterminator="\r\n")
    heads = ["Owner", "Name", "Insured", "Piece", "Mark", "Drawing", "Place", "Condition", "Value",
             "Currency"]  # fmt: skip
    writer.writerow(heads)
    money = currency()
    for row in value_rows(owner):
        value = plain_money(row.value_cents) if row.value_cents is not None else ""
        cells = (row.owner, row.owner_name, row.insurance, row.code, row.mark, row.drawing,
                 row.place, row.condition, value, money)  # fmt: skip
        writer.writerow([guard(cell) for cell in cells])
        yield _taken(buffer)
    yield _taken(buffer)


def _taken(buffer: io.StringIO) -> str:
    text = buffer.getvalue()
    buffer.seek(0)
    buffer.truncate()
    return text
