"""The labels page: what has no label yet, what was printed lately, what is void."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby, islice
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.models import LabelEvent, Mill, ToolSet
from tooling.queries.label_choices import NEVER, PRINTED, unprinted
from tooling.queries.labels import MOST_LABELS, LabelLine, find_lines

EVENTS_READ = MOST_LABELS + 1000
"""Enough that the newest print is told whole."""

WORDS = {
    "issue": _("printed"),
    "print": _("printed again"),
    "void": _("made void"),
    "reissue": _("given"),
}
RUNS_SHOWN = 20
VOID_SHOWN = 20


@dataclass(frozen=True)
class Unprinted:
    """How many things of a kind have no label yet."""

    kind: str
    word: Any
    count: int


@dataclass(frozen=True)
class LabelNews:
    """What one person did to labels at one time: a print of many, one made void, one replaced."""

    id: int
    what: str
    word: Any
    count: int
    first: str
    last: str
    replaces: str
    size: str
    by: str
    at: datetime
    reason: str

    @property
    def is_print(self) -> bool:
        return self.what == "print"


@dataclass(frozen=True)
class LabelsPage:
    """Where labels are asked for."""

    unprinted: tuple[Unprinted, ...]
    sets: tuple[tuple[str, str], ...]
    mills: tuple[tuple[str, str], ...]
    news: tuple[LabelNews, ...]
    void: tuple[LabelLine, ...]

    @property
    def never_printed(self) -> int:
        return sum(each.count for each in self.unprinted)

    @property
    def first_unprinted(self) -> str:
        """The first kind of which something has no label yet; empty when all have."""
        return next((each.kind for each in self.unprinted if each.count), "")

    def is_unprinted(self, kind: str) -> bool:
        """Whether something of this kind has no label yet."""
        return any(each.count for each in self.unprinted if each.kind == kind)

    @property
    def has_nothing(self) -> bool:
        """Nothing in the shop has a code yet."""
        return not (self.never_printed or self.news)


def labels_page() -> LabelsPage:
    """A fixed number of queries: one for each kind of thing, sets, mills, events, void labels."""
    return LabelsPage(
        unprinted=tuple(
            Unprinted(kind, word, unprinted(kind).order_by().count())
            for kind, (_all, _field, word) in NEVER.items()
        ),
        sets=tuple(ToolSet.objects.order_by("number").values_list("number", "name")),
        mills=tuple(Mill.objects.order_by("number").values_list("number", "name")),
        news=tuple(islice(_news(), RUNS_SHOWN)),
        void=_void_without_another(),
    )


def _news() -> Iterable[LabelNews]:
    rows = LabelEvent.objects.order_by("-pk").values(
        "pk", "what", "at", "size", "code", "replaces", "reason", "by__name", "by__username"
    )
    for (what, at, size, by), group in groupby(rows[:EVENTS_READ], _act):
        events = list(group)
        newest, oldest = events[0], events[-1]
        yield LabelNews(
            id=newest["pk"],
            what=what,
            word=WORDS[newest["what"]],
            count=len(events),
            first=oldest["code"],
            last=newest["code"],
            replaces=newest["replaces"],
            size=size,
            by=by,
            at=at,
            reason=newest["reason"],
        )


def _act(event: Mapping[str, Any]) -> tuple[str, datetime, str, str]:
    """Labels printed first and again on the same sheets are one print."""
    what = "print" if event["what"] in PRINTED else event["what"]
    return what, event["at"], event["size"], event["by__name"] or event["by__username"] or ""


def _void_without_another() -> tuple[LabelLine, ...]:
    """Things that are still known by a void label: they need a new one."""
    replaced = LabelEvent.objects.filter(what="reissue").exclude(replaces="").values("replaces")
    rows = LabelEvent.objects.filter(what="void").exclude(code__in=replaced).order_by("-pk")
    codes = list(dict.fromkeys(rows.values_list("code", flat=True)[:VOID_SHOWN]))
    found = find_lines(codes)
    return tuple(found[code] for code in codes if code in found)
