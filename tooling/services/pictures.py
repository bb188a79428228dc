"""Pictures of pieces, incidents and places: kept, given words, taken back, put back.

A picture is history. What changes about it is a further row that corrects the one before and
keeps the time at which the picture was taken; who changed it and when stands in a Change row of
what the picture shows.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict, ToolingError
from tooling.models import Incident, Person, Picture, Piece, Place, StoredFile
from tooling.permissions import Verb, check_can
from tooling.services import files
from tooling.services.photographs import Photograph, develop
from tooling.services.write import record_change, writing

MOST_AT_ONCE = 20
CAPTION_LONGEST = 200


def keep(
    *,
    by: Person,
    at: datetime,
    upload: files.Upload,
    piece: Piece | None = None,
    incident: Incident | None = None,
    place: Place | None = None,
    caption: str = "",
) -> Picture:
    """Keep one photograph of a piece, an incident, a place, or several of them.

    The same picture of the same thing sent again is the one that is there. Raises what
    `photographs.develop` and `files.check_upload` say, ``shows_nothing`` and ``long_text``.
    """
    return keep_all(
        by=by, at=at, uploads=[upload], piece=piece, incident=incident, place=place,
        caption=caption,
    )[0]  # fmt: skip


def keep_all(
    *,
    by: Person,
    at: datetime,
    uploads: Sequence[files.Upload],
    piece: Piece | None = None,
    incident: Incident | None = None,
    place: Place | None = None,
    caption: str = "",
) -> list[Picture]:
    """Keep several photographs of the same thing: all of them, or none.

    Raises as `keep`, and ``no_picture`` or ``too_many_pictures``.
    """
    check_can(by, Verb.KEEP_PICTURES)
    shown = {"piece": piece, "incident": incident, "place": place}
    if not any(shown.values()):
        raise ToolingError("shows_nothing", _("Say what the picture shows: a piece, a place …"))
    _check_count(len(uploads))
    caption = _caption(caption)
    developed = [_develop(upload) for upload in uploads]
    stored = [_store(each, at) for each in developed]
    with writing():
        return [
            _same(full, shown)
            or Picture.objects.create(
                file=full, small=small, width=photograph.width, height=photograph.height,
                caption=caption, at=at, by=by, **shown,
            )
            for photograph, (full, small) in zip(developed, stored, strict=True)
        ]  # fmt: skip


def take_back(*, by: Person, at: datetime, picture: Picture, reason: str = "") -> Picture:
    """A picture of the wrong thing is shown no more. Raises ``picture_changed``."""
    return _follow(by=by, at=at, picture=picture, what="picture taken back", reason=reason,
                   is_taken_back=True)  # fmt: skip


def put_back(*, by: Person, at: datetime, picture: Picture) -> Picture:
    """Undo of taking back. Raises ``picture_changed``."""
    return _follow(by=by, at=at, picture=picture, what="picture put back", is_taken_back=False)


def say(*, by: Person, at: datetime, picture: Picture, caption: str) -> Picture:
    """Give a picture other words. Raises ``picture_changed`` and ``long_text``."""
    return _follow(by=by, at=at, picture=picture, what="picture renamed",
                   caption=_caption(caption))  # fmt: skip


def _follow(
    *, by: Person, at: datetime, picture: Picture, what: str, reason: str = "", **changed: Any
) -> Picture:
    """The row that stands in the picture's place from now on."""
    check_can(by, Verb.KEEP_PICTURES)
    before = {name: getattr(picture, name) for name in changed}
    if before == changed:
        return picture
    kept = ("file", "small", "width", "height", "piece", "incident", "place", "caption", "at")
    fields = {name: getattr(picture, name) for name in (*kept, "is_taken_back")}
    with writing():
        if Picture.objects.filter(corrects=picture).exists():
            raise Conflict(
                "picture_changed",
                _("Somebody has changed this picture meanwhile. Load the page again."),
            )
        row = Picture.objects.create(**(fields | changed), by=by, corrects=picture)
        said = {name: value for name, value in changed.items() if name != "is_taken_back"}
        for subject, key in _subjects(row):
            record_change(
                by=by, at=at, subject=subject, key=key, what=what, reason=reason,
                before={name: before[name] for name in said}, after=said,
            )  # fmt: skip
    return row


def _subjects(picture: Picture) -> list[tuple[Piece | Place | Incident, str]]:
    found: list[tuple[Piece | Place | Incident, str]] = []
    if picture.piece is not None:
        found.append((picture.piece, picture.piece.code))
    if picture.place is not None:
        found.append((picture.place, picture.place.code))
    if picture.incident is not None:
        found.append((picture.incident, str(picture.incident.uuid)))
    return found


def _check_count(count: int) -> None:
    if not count:
        raise ToolingError(
            "no_picture", _("No picture came with it. Take or choose one."), in_field="file"
        )
    if count > MOST_AT_ONCE:
        raise ToolingError(
            "too_many_pictures",
            _("{count} pictures at once are too many; send {most} at most, then the rest."),
            count=count,
            most=MOST_AT_ONCE,
            in_field="file",
        )


def _caption(text: str) -> str:
    trimmed = " ".join(text.split())
    if len(trimmed) > CAPTION_LONGEST:
        raise ToolingError(
            "long_text",
            _("{label} has {length} characters; {longest} fit. Shorten it."),
            label=_("The caption"),
            length=len(trimmed),
            longest=CAPTION_LONGEST,
            in_field="caption",
        )
    return trimmed


def _develop(upload: files.Upload) -> Photograph:
    return develop(files.opened(upload), name=upload.name or str(_("The picture")))


def _store(photograph: Photograph, at: datetime) -> tuple[StoredFile, StoredFile]:
    return (
        files.store(data=photograph.full, at=at),
        files.store(data=photograph.small, at=at),
    )


def _same(full: StoredFile, shown: dict[str, Any]) -> Picture | None:
    """The picture that a phone without a connection sent twice."""
    rows = Picture.objects.filter(file=full, is_taken_back=False, corrected_by=None, **shown)
    return rows.first()
