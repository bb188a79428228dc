"""Pictures as pages and programs see them: only the newest word on each."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q, QuerySet
from django.utils.translation import gettext_lazy as _

from tooling.errors import Unknown
from tooling.models import Picture, StoredFile

ON_A_PAGE = 12


@dataclass(frozen=True)
class PictureView:
    """One picture. ``sha256`` and ``small`` name the files; sizes are of the large one, in px."""

    id: int
    sha256: str
    small: str
    width: int
    height: int
    caption: str
    at: datetime
    by: str
    piece: str
    place: str
    place_name: str
    incident: int | None
    incident_said: str
    is_taken_back: bool


def shown() -> QuerySet[Picture]:
    """Pictures that stand: neither taken back nor followed by another row. The newest first."""
    return Picture.objects.filter(is_taken_back=False, corrected_by=None)


def pictures_of_piece(code: str) -> tuple[PictureView, ...]:
    """The newest dozen. One query."""
    return _views(shown().filter(piece__code=code)[:ON_A_PAGE])


def pictures_of_place(code: str) -> tuple[PictureView, ...]:
    """The newest dozen. One query."""
    return _views(shown().filter(place__code=code)[:ON_A_PAGE])


def pictures_of_incidents(ids: set[int]) -> tuple[PictureView, ...]:
    """Of an incident and of those that it puts right. One query."""
    return _views(shown().filter(incident__in=ids))


def picture_list(
    *,
    piece: str = "",
    place: str = "",
    incident: int | None = None,
    before: int | None = None,
    size: int = 100,
) -> tuple[PictureView, ...]:
    """Those that stand, newest row first, narrowed; ``before`` is the last id of the page before.

    One query.
    """
    wanted = Q()
    if piece:
        wanted &= Q(piece__code=piece)
    if place:
        wanted &= Q(place__code=place)
    if incident is not None:
        wanted &= Q(incident=incident)
    if before is not None:
        wanted &= Q(pk__lt=before)
    return _views(shown().filter(wanted).order_by("-pk")[:size])


def picture_row(number: int) -> Picture:
    """The newest row about this picture. Raises Unknown ``unknown_code``.

    One query, and one for each time that it was changed.
    """
    row = _related(Picture.objects.filter(pk=number)).first()
    if row is None:
        raise Unknown("unknown_code", _("There is no picture {number}."), number=number)
    newer = _related(Picture.objects.filter(corrects=row)).first()
    while newer is not None:
        row, newer = newer, _related(Picture.objects.filter(corrects=newer)).first()
    return row


def picture_view(row: Picture) -> PictureView:
    """The row as a page sees it; the row comes with what it shows."""
    return PictureView(
        id=row.pk,
        sha256=row.file.sha256,
        small=row.small.sha256,
        width=row.width,
        height=row.height,
        caption=row.caption,
        at=row.at,
        by=str(row.by or ""),
        piece=row.piece.code if row.piece else "",
        place=row.place.code if row.place else "",
        place_name=(row.place.path_name or row.place.name) if row.place else "",
        incident=row.incident_id,
        incident_said=row.incident.get_kind_display() if row.incident else "",
        is_taken_back=row.is_taken_back,
    )


def shown_file(sha256: str) -> StoredFile:
    """The file of a picture that stands. Raises Unknown ``unknown_code``. One query."""
    named = Q(pictures__in=shown()) | Q(pk__in=shown().values("small"))
    found = StoredFile.objects.filter(named, sha256=sha256).first()
    if found is None:
        raise Unknown("unknown_code", _("There is no such picture."))
    return found


def _views(rows: QuerySet[Picture]) -> tuple[PictureView, ...]:
    return tuple(picture_view(row) for row in _related(rows))


def _related(rows: QuerySet[Picture]) -> QuerySet[Picture]:
    return rows.select_related("file", "small", "piece", "place", "incident", "by")
