"""The spacers and shims that a kit may fill its shafts with, and how many of each are free for it.

Of a count: what lies free when the kit gathers, less what kits that run at the same time claim
whichever gathers first, and less what the kit's own set calls for. Of marked pieces: those that
are fit, free, within reach, and normally belong to no set.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime

from django.db.models import Exists, OuterRef, Q

from tooling.engineering.stacks.eligibility import Body
from tooling.engineering.stacks.specs import Source, SourceKind
from tooling.models import Drawing, DrawingKind, DrawingRevision, Kit, KitPosition, Piece, StockLine
from tooling.queries.condition_facts import Facts
from tooling.queries.conditions import Asked, Question, conditions, looking_for
from tooling.queries.fill_views import Stuff, pooled_key, source_key
from tooling.queries.kit_views import State, Verdict
from tooling.queries.kits import asked, is_pooled
from tooling.queries.pieces import size_of
from tooling.queries.shafts import Stations
from tooling.queries.spares import spares

KINDS = (DrawingKind.SPACER, DrawingKind.SHIM)
USABLE = (State.HERE, State.TO_FETCH, State.MAY_NOT_LAST)
MANY = 100_000
LAST = (datetime.max.replace(tzinfo=UTC), "")
"""The turn of one who gathers after everybody."""


@dataclass(frozen=True)
class Offer:
    """What there is. ``places`` in walking order; ``not_there``: sources that somebody looked for
    in vain: what the kit has of them stays, more is not taken."""

    sources: tuple[Source, ...]
    stuff: Mapping[str, Stuff]
    places: tuple[str, ...]


@dataclass(frozen=True)
class Wishes:
    """What the offer must cover: the kit's own positions, and what was not there."""

    kit: Kit
    rows: Sequence[KitPosition]
    stations: Stations
    not_there: Mapping[str, Collection[int]]
    tolerance_nm: int


def offered(wishes: Wishes, *, at: datetime) -> Offer:
    """All spacers and shims of the shop that this kit may use. At most fourteen queries."""
    own = [row for row in wishes.rows if row.fill]
    drawings = list(
        Drawing.objects.filter(kind__in=KINDS).filter(
            Exists(StockLine.objects.filter(drawing=OuterRef("pk"), count__gt=0))
            | Exists(Piece.objects.filter(drawing=OuterRef("pk")))
            | Q(pk__in={row.drawing_id for row in own})
        )
    )
    asking = [asked(wishes.kit, row, wishes.stations) for row in own if row.piece is not None]
    asking += [Asked(-drawing.pk, drawing) for drawing in drawings]
    question = Question(wishes.kit.job, wishes.kit.pk, asking)
    answers = conditions([question], at=at, offer=False)
    reader = _Stock(wishes, answers.facts[0], answers.verdicts)
    return reader.offer(drawings)


@dataclass(frozen=True)
class _Stock:
    wishes: Wishes
    facts: Facts
    verdicts: Mapping[int, Verdict]

    def offer(self, drawings: Sequence[Drawing]) -> Offer:
        pairs = [*self._pooled(drawings), *self._marked(drawings)]
        known = {source.key for source, _stuff in pairs}
        pairs += self._pinned_only(known)
        walk = {source.place for source, _stuff in pairs if source.place}
        return Offer(
            sources=tuple(source for source, _stuff in pairs),
            stuff={stuff.key: stuff for _source, stuff in pairs},
            places=tuple(sorted(walk)),
        )

    def _pooled(self, drawings: Sequence[Drawing]) -> Iterable[tuple[Source, Stuff]]:
        for drawing in drawings:
            revision = self.facts.revisions.get(drawing.pk)
            if drawing.pk not in self.facts.pools.by_drawing or revision is None:
                continue
            count = self._count(drawing)
            if not revision.face_width_nm or count <= 0:
                continue
            source = Source(
                key=pooled_key(drawing.number),
                length_nm=revision.face_width_nm,
                count=count,
                kind=_kind(drawing),
                place=self._nearest(drawing.pk),
                tolerance_nm=self.wishes.tolerance_nm,
                body=_body(revision, revision),
            )
            yield source, _stuff(source, drawing, None, revision.unit)

    def _count(self, drawing: Drawing) -> int:
        """How many there are for the kit's fills, whoever gathers first."""
        kit, pool = self.wishes.kit, self.facts.pools.by_drawing[drawing.pk]
        me = self.facts.pools.wanted(drawing.pk, kit_id=kit.pk, job=kit.job, wants=MANY, bound={})
        last = replace(me, kit=replace(me.kit, turn=LAST))
        among = [
            pk for pk, other in self.facts.others.items()
            if other.binding.begins < self.facts.binding.ends
        ]  # fmt: skip
        there = pool.share(last, among=among).to_fetch
        mine = pool.wanted.get(kit.pk)
        if mine is not None:
            there += sum(mine.kit.gathered.get(owner, 0) for owner in mine.kit.may_use)
        called = sum(
            row.drawing_id == drawing.pk and not row.fill and is_pooled(kit, row)
            for row in self.wishes.rows
        )
        return self._capped(pooled_key(drawing.number), drawing.pk, max(0, there - called))

    def _capped(self, key: str, drawing: int, count: int) -> int:
        """Where somebody looked in vain, only what the kit has of it already."""
        gone = self.wishes.not_there.get(key)
        if gone is None:
            return count
        kept = sum(
            bool(row.fill) and row.piece_id is None and row.drawing_id == drawing
            and row.pk not in gone
            for row in self.wishes.rows
        )  # fmt: skip
        return min(count, kept)

    def _nearest(self, drawing: int) -> str:
        pool = self.facts.pools.by_drawing[drawing]
        lines = {line.pk: line for line in pool.lines}
        first = next((lines[each.key] for each in pool.bins if each.key in lines), None)
        return _place(first.place.walking_order, first.place.path) if first else ""

    def _marked(self, drawings: Sequence[Drawing]) -> Iterable[tuple[Source, Stuff]]:
        by_pk = {drawing.pk: drawing for drawing in drawings}
        found = spares(looking_for(self.facts), set(by_pk))
        free = [
            spare.piece for each in found.pieces.values() for spare in each
            if not spare.is_allotted
        ]  # fmt: skip
        own = [
            row.piece for row in self.wishes.rows
            if row.fill and row.piece is not None and self.verdicts[row.pk].state in USABLE
        ]  # fmt: skip
        seen: set[str] = set()
        for piece in [*own, *free]:
            if piece.code in seen or piece.code in self.wishes.not_there:
                continue
            seen.add(piece.code)
            width = size_of(piece, "face_width")
            if width:
                yield self._piece(piece, by_pk[piece.drawing_id], width)

    def _piece(self, piece: Piece, drawing: Drawing, width: int) -> tuple[Source, Stuff]:
        source = Source(
            key=piece.code,
            length_nm=width,
            kind=_kind(drawing),
            place=_place(piece.place.walking_order, piece.place.path),
            measured=_is_measured(piece),
            tolerance_nm=self.wishes.tolerance_nm,
            body=_body(piece, piece.revision),
        )
        return source, _stuff(source, drawing, piece, piece.unit)

    def _pinned_only(self, known: set[str]) -> list[tuple[Source, Stuff]]:
        """What a person pinned and can be used no more: named, and fit for no fill."""
        rows: dict[str, list[KitPosition]] = {}
        for row in self.wishes.rows:
            if row.fill and row.is_pinned and source_key(row) not in known:
                rows.setdefault(source_key(row), []).append(row)
        found = []
        for key, mine in rows.items():
            row = mine[0]
            source = Source(
                key=key, length_nm=row.length_nm or 1, count=len(mine), kind=_kind(row.drawing),
                body=Body(fit=False),
            )  # fmt: skip
            found.append((source, _stuff(source, row.drawing, row.piece, "mm")))
        return found


def _kind(drawing: Drawing) -> SourceKind:
    return "shim" if drawing.kind == DrawingKind.SHIM else "spacer"


def _stuff(source: Source, drawing: Drawing, piece: Piece | None, unit: str) -> Stuff:
    return Stuff(
        key=source.key,
        drawing_id=drawing.pk,
        drawing=drawing.number,
        piece=piece,
        length_nm=source.length_nm,
        unit=unit,
        is_shim=source.kind == "shim",
    )


def _place(walk: int, path: str) -> str:
    """Sorts as one walks."""
    return f"{walk:010d} {path}"


def _body(holder: Piece | DrawingRevision, revision: DrawingRevision) -> Body:
    def size(name: str) -> int | None:
        if isinstance(holder, Piece):
            return size_of(holder, name)
        found: int | None = getattr(revision, f"{name}_nm")
        return found

    return Body(
        bore_nm=size("bore"),
        outside_nm=size("outside_diameter"),
        keyway_width_nm=size("keyway_width") or 0,
        keyway_depth_nm=size("keyway_depth") or 0,
    )


def standing_sources(
    rows: Iterable[KitPosition], *, tolerance_nm: int
) -> tuple[tuple[Source, ...], dict[str, Stuff]]:
    """What stands in fills, as sources with exactly so many, reckoned as when it was chosen."""
    by: dict[str, list[KitPosition]] = {}
    for row in rows:
        by.setdefault(source_key(row), []).append(row)
    sources, stuff = [], {}
    for key, mine in by.items():
        row, piece = mine[0], mine[0].piece
        source = Source(
            key=key,
            length_nm=_width(row),
            count=len(mine),
            kind=_kind(row.drawing),
            measured=piece is not None and _is_measured(piece),
            tolerance_nm=tolerance_nm,
        )
        sources.append(source)
        stuff[key] = _stuff(source, row.drawing, piece, piece.unit if piece else "mm")
    return tuple(sources), stuff


def _width(row: KitPosition) -> int:
    """A marked spacer may have been measured since."""
    now = size_of(row.piece, "face_width") if row.piece is not None else None
    return now or row.length_nm or 1


def _is_measured(piece: Piece) -> bool:
    return piece.now_face_width_nm is not None or piece.made_face_width_nm is not None
