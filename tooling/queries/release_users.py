"""Who uses some pieces: the copies to which they are allotted and the open kits that claim them,
with everything that judging those sets on their mills depends on. A fixed number of queries."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from tooling.engineering.mill_specs import SleeveSpec, StationSpec
from tooling.models import (
    Allotment,
    ChartPass,
    DrawingRevision,
    Kit,
    KitPosition,
    Mill,
    Piece,
    SetCopy,
    SetPass,
    SetPosition,
    SetupChart,
    Shaft,
    ToolSet,
)
from tooling.queries.fit_specs import KINDS, sleeve_specs, stations_of_mills
from tooling.queries.measured_drive import size_uncertainties
from tooling.queries.settings import Given, given_settings

SETTINGS = ["ratio_mismatch_warn", "gap_near_vertical", "step_warn_least", "step_warn_most"]


@dataclass(frozen=True)
class User:
    """A copy of a set, or an open kit: position id → piece id. ``mills``: where it is judged."""

    tool_set: ToolSet
    who: str
    kit: str
    pieces: Mapping[int, int]
    mills: tuple[int, ...]


@dataclass(frozen=True)
class Users:
    """All that was read. ``charted``: (set, mill) → pass number → station number."""

    users: tuple[User, ...]
    charts: tuple[SetupChart, ...]
    pieces: Mapping[int, Piece]
    positions: Mapping[int, Sequence[SetPosition]]
    revisions: Mapping[int, DrawingRevision]
    mills: Mapping[int, Mill]
    stations: Mapping[int, Sequence[StationSpec]]
    charted: Mapping[tuple[int, int], Mapping[int, int]]
    steep: Mapping[int, Mapping[int, float]]
    sleeves: tuple[SleeveSpec, ...]
    given: Given
    uncertainties: Mapping[tuple[int, str], int]


def users_of(piece_ids: Collection[int]) -> Users:
    """Fifteen queries at most, however many sets and pieces."""
    ids = set(piece_ids)
    copies = _copies(ids)
    kits = _kits(ids)
    sets = {copy.tool_set_id: copy.tool_set for copy, _pieces in copies}
    sets |= {kit.job.tool_set_id: kit.job.tool_set for kit, _pieces in kits}
    charts = list(
        SetupChart.objects.filter(tool_set__in=sets, is_current=True)
        .select_related("tool_set", "mill")
        .order_by("tool_set__number", "mill__number")
    )
    users = _users(copies, kits, charts)
    mills = {pk for user in users for pk in user.mills}
    wanted = {pk for user in users for pk in user.pieces.values()} | ids
    positions = _positions(set(sets), {p for user in users if user.kit for p in user.pieces})
    known = Mill.objects.in_bulk(mills)
    drawings = {row.drawing_id for rows in positions.values() for row in rows}
    return Users(
        users=tuple(users),
        charts=tuple(charts),
        pieces=Piece.objects.select_related("revision", "drawing").in_bulk(wanted),
        positions=positions,
        revisions={
            row.drawing_id: row
            for row in DrawingRevision.objects.filter(drawing__in=drawings, is_current=True)
        },
        mills=known,
        stations=stations_of_mills(known.values()),
        charted=_charted(charts),
        steep=_steep(set(sets)),
        sleeves=sleeve_specs(),
        given=given_settings(SETTINGS),
        uncertainties=size_uncertainties(wanted, ["drive_diameter", "root_diameter"]),
    )


def _copies(ids: set[int]) -> list[tuple[SetCopy, dict[int, int]]]:
    """Copies with all that is allotted to them. Two queries."""
    using = Allotment.objects.filter(piece__in=ids).values_list("copy_id", flat=True)
    rows = Allotment.objects.filter(copy__in=list(using.distinct()))
    found: dict[int, tuple[SetCopy, dict[int, int]]] = {}
    for row in rows.select_related("copy__tool_set").order_by("copy__tool_set__number", "copy_id"):
        found.setdefault(row.copy_id, (row.copy, {}))[1][row.position_id] = row.piece_id
    return list(found.values())


def _kits(ids: set[int]) -> list[tuple[Kit, dict[int, int]]]:
    """Open kits with all their pieces that stand in for a position. Two queries."""
    claims = KitPosition.objects.filter(piece__in=ids, is_open=True)
    rows = KitPosition.objects.filter(
        kit__in=list(claims.values_list("kit_id", flat=True).distinct()),
        piece__isnull=False,
        set_position__isnull=False,
    ).select_related("kit__job__tool_set", "kit__job__mill")
    found: dict[int, tuple[Kit, dict[int, int]]] = {}
    for row in rows.order_by("kit__number"):
        if row.set_position_id is not None and row.piece_id is not None:
            found.setdefault(row.kit_id, (row.kit, {}))[1][row.set_position_id] = row.piece_id
    return list(found.values())


def _users(
    copies: Sequence[tuple[SetCopy, dict[int, int]]],
    kits: Sequence[tuple[Kit, dict[int, int]]],
    charts: Sequence[SetupChart],
) -> list[User]:
    """A kit that has nothing but its copy's own pieces says nothing more than the copy does on the
    mill where both are judged."""
    mills: dict[int, list[int]] = defaultdict(list)
    for chart in charts:
        mills[chart.tool_set_id].append(chart.mill_id)
    users = [
        User(copy.tool_set, copy.letter, "", pieces, tuple(mills[copy.tool_set_id]))
        for copy, pieces in copies
    ]
    for kit, pieces in kits:
        job = kit.job
        same = any(
            user.tool_set.pk == job.tool_set_id
            and job.mill_id in user.mills
            and pieces.items() <= user.pieces.items()
            for user in users
        )
        if not same:
            users.append(User(job.tool_set, "", kit.number, pieces, (job.mill_id,)))
    return users


def _positions(sets: set[int], named: set[int]) -> dict[int, list[SetPosition]]:
    """Set → its positions in order: those of every variant, and those that kits name."""
    rows = SetPosition.objects.filter(set_pass__tool_set__in=sets, drawing__kind__in=KINDS).exclude(
        shaft=Shaft.LINE
    )
    found: dict[int, list[SetPosition]] = defaultdict(list)
    for row in rows.select_related("set_pass", "drawing").order_by(
        "set_pass__number", "shaft", "order", "pk"
    ):
        if row.variant_id is None or row.pk in named:
            found[row.set_pass.tool_set_id].append(row)
    return found


def _charted(charts: Sequence[SetupChart]) -> dict[tuple[int, int], dict[int, int]]:
    rows = ChartPass.objects.filter(chart__in=charts)
    found: dict[tuple[int, int], dict[int, int]] = defaultdict(dict)
    for tool_set, mill, number, station in rows.values_list(
        "chart__tool_set_id", "chart__mill_id", "set_pass__number", "station__number"
    ):
        found[tool_set, mill][number] = station
    return found


def _steep(sets: set[int]) -> dict[int, dict[int, float]]:
    """Set → pass number → inclination of the face at its gap point, where it is known."""
    rows = SetPass.objects.filter(tool_set__in=sets, gap_degrees__isnull=False)
    found: dict[int, dict[int, float]] = defaultdict(dict)
    for tool_set, number, degrees in rows.values_list("tool_set_id", "number", "gap_degrees"):
        found[tool_set][number] = degrees or 0.0
    return found
