"""The diameters at the gap point of every pass: of a kit now, and of the last good setup then."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from tooling.models import DrawingRevision, KitPosition, Piece, Setup
from tooling.queries.gap_diameters import Size, gap_diameter, is_measured
from tooling.queries.pieces import size_of
from tooling.queries.sizes_at import sizes_at

UNMEASURED = {"top": "top_nm", "bottom": "bottom_nm"}


@dataclass(frozen=True)
class PassRolls:
    """Of one pass, nm; None where nothing says. ``is_by_drive``: taken from drive diameters, as
    none are kept at the gap point. ``unmeasured`` as ``shaft_centres`` names them."""

    top_nm: int | None = None
    bottom_nm: int | None = None
    is_by_drive: bool = False
    unmeasured: tuple[str, ...] = ()


@dataclass(frozen=True)
class Rolls:
    """By pass."""

    by_pass: Mapping[int, PassRolls]

    def of(self, number: int) -> PassRolls:
        return self.by_pass.get(number, PassRolls())


@dataclass(frozen=True)
class LastRolls:
    """The rolls of a setup then, and at which station each pass stood."""

    rolls: Rolls
    stations: Mapping[int, int]


SizeOf = Callable[[Piece], Size]


def rolls_of(
    rows: Iterable[KitPosition],
    revisions: Mapping[int, DrawingRevision],
    size: SizeOf | None = None,
) -> Rolls:
    """Of a kit's positions, pieces with their revisions loaded. No query."""
    shafts: dict[tuple[int, str], list[KitPosition]] = defaultdict(list)
    for row in rows:
        if row.shaft in UNMEASURED and not row.fill:
            shafts[row.pass_number, row.shaft].append(row)
    sizes = size or (lambda piece: lambda name: size_of(piece, name))
    numbers = {number for number, _shaft in shafts}
    return Rolls({n: _pass(n, shafts, revisions, sizes) for n in numbers})


def _pass(
    number: int,
    shafts: Mapping[tuple[int, str], list[KitPosition]],
    revisions: Mapping[int, DrawingRevision],
    size: SizeOf,
) -> PassRolls:
    found: dict[str, int | None] = {}
    by_drive, unmeasured = False, []
    for shaft, key in UNMEASURED.items():
        rows = shafts.get((number, shaft), [])
        carrier = next((row for row in rows if _keeps(row)), None)
        if carrier is None:
            found[shaft], carrier = _largest_drive(rows, revisions, size)
            by_drive = by_drive or carrier is not None
        else:
            drawn = revisions.get(carrier.drawing_id)
            its = size(carrier.piece) if carrier.piece else None
            found[shaft] = gap_diameter(carrier.set_position, drawn, its)
        if found[shaft] is not None and not is_measured(carrier.piece if carrier else None):
            unmeasured.append(key)
    return PassRolls(found["top"], found["bottom"], by_drive, tuple(unmeasured))


def _keeps(row: KitPosition) -> bool:
    return row.set_position is not None and row.set_position.gap_diameter_nm is not None


def _largest_drive(
    rows: Iterable[KitPosition], revisions: Mapping[int, DrawingRevision], size: SizeOf
) -> tuple[int | None, KitPosition | None]:
    best: tuple[int | None, KitPosition | None] = (None, None)
    for row in rows:
        if row.drawing.kind != "roll":
            continue
        drawn = revisions.get(row.drawing_id)
        nm = size(row.piece)("drive_diameter") if row.piece else None
        if nm is None and drawn is not None:
            nm = drawn.drive_diameter_nm
        if nm is not None and (best[0] is None or nm > best[0]):
            best = (nm, row)
    return best


def last_rolls(last: Setup | None) -> LastRolls:
    """Of the last good setup as its pieces measured when the first good part came. Four queries,
    none without one."""
    if last is None or last.good_at is None:
        return LastRolls(Rolls({}), {})
    return rolls_at(last, last.good_at)


def rolls_at(setup: Setup, moment: datetime) -> LastRolls:
    """Of a setup as its pieces measured at a moment. Four queries."""
    rows = list(
        KitPosition.objects.filter(kit=setup.kit_id, fill="")
        .exclude(shaft="line")
        .select_related("drawing", "set_position", "piece__revision")
    )
    drawings = {row.drawing_id for row in rows}
    revisions = {
        each.drawing_id: each
        for each in DrawingRevision.objects.filter(drawing__in=drawings, is_current=True)
    }
    pieces = [row.piece_id for row in rows if row.piece_id is not None]
    told = sizes_at(pieces, at=moment)

    def then(piece: Piece) -> Size:
        def size(name: str) -> int | None:
            at = told.get((piece.pk, name))
            made = getattr(piece, f"made_{name}_nm")
            drawn: int | None = getattr(piece.revision, f"{name}_nm")
            return next((each for each in (at, made) if each is not None), drawn)

        return size

    stations = {row.pass_number: row.station_number for row in rows}
    return LastRolls(rolls_of(rows, revisions, then), stations)
