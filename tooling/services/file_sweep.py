"""Files that no record names, and taking them away.

They come from a write that was broken off: the bytes are on the disk before the row that names
them, so a power cut in between leaves bytes without a row, or a row that nothing refers to. They
take room and do no harm. What is younger than a day may still be about to be named.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from django.conf import settings
from django.db.models import Exists, ForeignObjectRel, OuterRef, Q, QuerySet
from django.utils.translation import gettext_lazy as _

from tooling.errors import Conflict
from tooling.models import StoredFile
from tooling.services.write import writing

LEFT_ALONE = timedelta(days=1)


@dataclass(frozen=True)
class Orphan:
    """A file that nothing names: its name in the files folder, and its bytes."""

    name: str
    size: int


def orphans(*, at: datetime) -> tuple[Orphan, ...]:
    """What a sweep would take away, by name. One query."""
    named = set(_named().values_list("sha256", flat=True))
    before = (at - LEFT_ALONE).timestamp()
    found = []
    for path in sorted(Path(settings.FILES_DIR).glob("*")):
        facts = path.stat()
        if path.is_file() and path.name not in named and facts.st_mtime < before:
            found.append(Orphan(path.name, facts.st_size))
    return tuple(found)


def sweep(*, at: datetime) -> tuple[Orphan, ...]:
    """Take them away, each looked at once more inside the write; says which went.

    Raises Conflict ``no_file_is_known`` where the database knows no file at all: then it is more
    likely the wrong database than a folder of orphans.
    """
    found = orphans(at=at)
    if any(_is_content(each.name) for each in found) and not StoredFile.objects.exists():
        raise Conflict(
            "no_file_is_known",
            _("{count} files lie in {folder}, and this database knows none of them. Check "
              "DATABASE_URL and ROLLROOM_DATA_DIR; nothing was taken away."),
            count=len(found),
            folder=settings.FILES_DIR,
        )  # fmt: skip
    gone = [each for each in found if _take_away(each, at)]
    return tuple(gone)


def _is_content(name: str) -> bool:
    return len(name) == 64


def _take_away(orphan: Orphan, at: datetime) -> bool:
    path = Path(settings.FILES_DIR) / orphan.name
    with writing():
        if _named().filter(sha256=orphan.name).exists():
            return False
        if not path.exists() or path.stat().st_mtime >= (at - LEFT_ALONE).timestamp():
            return False
        StoredFile.objects.filter(sha256=orphan.name).delete()
        path.unlink()
    return True


def _named() -> QuerySet[StoredFile]:
    """Files that some row refers to, whatever table it stands in, asked from the file's side."""
    named = Q(pk__in=[])
    for relation in StoredFile._meta.get_fields(include_hidden=True):
        if isinstance(relation, ForeignObjectRel) and relation.field.concrete:
            rows = relation.related_model._default_manager.filter(
                **{relation.field.name: OuterRef("pk")}
            )
            named |= Q(Exists(rows))
    return StoredFile.objects.filter(named)
