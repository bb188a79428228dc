"""What somebody needs who stands at a station: both shafts' stacks, in order from the shoulder."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

from django.utils.translation import gettext_lazy as _

from tooling.engineering.handling import RollBody, caution_for, mass_of
from tooling.errors import Unknown
from tooling.models import DrawingRevision, KitPosition, Setup, Station
from tooling.queries.as_set import station_aims
from tooling.queries.kit_positions import sizes_of
from tooling.queries.mounted_counts import spot_of, take_from
from tooling.queries.piece_page import mass_kg
from tooling.queries.settings import Given, given_settings
from tooling.queries.setup_stacks import SHAFTS, OnShaft, in_order
from tooling.queries.setup_views import ShaftAnswer, StackRow, StationAnswer
from tooling.queries.setups import find_setup, head_of, mark_of
from tooling.queries.shaft_states import ShaftKey, ShaftState, shaft_states


def station_answer(number: str, station: int, *, scanned: Collection[str] = ()) -> StationAnswer:
    """One station of a setup. Ten queries, however many pieces; more where a count runs short.


    ``scanned``: codes that were read already, to mark their rows. Raises Unknown
    ``unknown_setup``, ``no_such_station``.
    """
    return answer_of(find_setup(number), station, scanned=scanned)


def answer_of(setup: Setup, station: int, *, scanned: Collection[str] = ()) -> StationAnswer:
    """The same of a setup that is loaded. Eight queries."""
    codes = dict(
        Station.objects.filter(mill=setup.mill_id).order_by("number").values_list("number", "code")
    )
    positions = KitPosition.objects.filter(kit=setup.kit_id).exclude(shaft="line")
    claims = list(
        positions.values_list("station_number", "shaft", "drawing_id", "piece_id", "is_staged")
    )
    used = sorted({(claim[0], claim[1]) for claim in claims})
    numbers = sorted({each for each, _shaft in used})
    if station not in codes and station not in numbers:
        raise Unknown(
            "no_such_station",
            _("{mill} has no station {station}."),
            mill=setup.mill.name,
            station=station,
        )
    rows = list(
        positions.filter(station_number=station)
        .select_related(
            "drawing",
            "set_position__set_pass",
            "piece__place",
            "piece__revision",
            "stock_line",
        )
        .order_by("shaft", "order")
    )
    states = shaft_states([setup.pk])
    to_mount = [
        each for each, shaft in used
        if (state := states.get((setup.pk, each, shaft))) is None or state.what == "taken_off"
    ]  # fmt: skip
    scarce = {
        drawing for _n, _shaft, drawing, piece, staged in claims if piece is None and not staged
    }
    short = _short(setup, station, rows, states, scarce)
    aims = station_aims(setup, station)
    called = next((row.set_position for row in rows if row.set_position is not None), None)
    rest = sorted({each for each in to_mount if each != station})
    return StationAnswer(
        head=head_of(setup),
        number=station,
        code=codes.get(station, ""),
        pass_number=rows[0].pass_number if rows else None,
        pass_name=called.set_pass.name if called else "",
        gap_point=aims.gap_point,
        target_nm=aims.target_nm,
        shafts=_shafts(setup, station, rows, states, scanned, short),
        gaps_set=aims.is_set,
        gaps_wanted=aims.wanted,
        before=max((each for each in numbers if each < station), default=None),
        after=min((each for each in numbers if each > station), default=None),
        to_mount=next((each for each in rest if each > station), rest[0] if rest else None),
    )


def _shafts(
    setup: Setup,
    station: int,
    rows: Sequence[KitPosition],
    states: Mapping[ShaftKey, ShaftState],
    scanned: Collection[str],
    short: Mapping[int, bool],
) -> tuple[ShaftAnswer, ...]:
    revisions = _revisions({row.drawing_id for row in rows if row.piece_id is None})
    given = given_settings(["lift_warn", "lift_two_people"])
    found = []
    for shaft in SHAFTS:
        mine = [row for row in rows if row.shaft == shaft]
        if not mine:
            continue
        stack = in_order(mine, is_turned=setup.is_turned)
        for row in mine:
            row.is_staged = not short.get(row.pk, not row.is_staged)
        mark = mark_of(station, shaft, stack, states.get((setup.pk, station, shaft)))
        is_on = mark.is_done
        answers = tuple(
            _row(each, revisions.get(each.row.drawing_id), given, scanned, is_on=is_on)
            for each in stack
        )
        found.append(ShaftAnswer(mark, answers))
    return tuple(found)


def _short(
    setup: Setup,
    number: int,
    rows: Sequence[KitPosition],
    states: Mapping[ShaftKey, ShaftState],
    scarce: Collection[int],
) -> dict[int, bool]:
    """Of a count that does not reach for the whole kit: for which of these positions there is none
    left now. Asks nothing where every count reaches."""
    found: dict[int, bool] = {}
    if not scarce:
        return found
    stations = Station.objects.select_related("place").filter(mill=setup.mill_id, number=number)
    station = stations.first()
    if station is None:
        return found
    for shaft in SHAFTS:
        mine = [r for r in rows if r.shaft == shaft and not r.piece_id and r.drawing_id in scarce]
        state = states.get((setup.pk, station.number, shaft))
        if mine and (state is None or state.what == "taken_off"):
            _moving, short = take_from(setup, station, spot_of(setup, station), mine)
            found |= {row.pk: row.pk in short for row in mine}
    return found


def _revisions(drawings: Collection[int]) -> dict[int, DrawingRevision]:
    if not drawings:
        return {}
    rows = DrawingRevision.objects.filter(drawing__in=drawings, is_current=True)
    return {row.drawing_id: row for row in rows}


def _row(
    each: OnShaft,
    revision: DrawingRevision | None,
    given: Given,
    scanned: Collection[str],
    *,
    is_on: bool,
) -> StackRow:
    row, piece = each.row, each.row.piece
    sizes = sizes_of(row, revision)
    kg = _mass(row, revision)
    widths = ("outside_diameter", "drive_diameter", "root_diameter")
    return StackRow(
        turn=each.turn,
        order=row.order,
        kind=row.drawing.kind,
        fill=row.fill,
        drawing=row.drawing.number,
        mark=piece.mark if piece else "",
        code=piece.code if piece else "",
        unit=piece.unit if piece else revision.unit if revision else "mm",
        length_nm=row.length_nm or sizes["face_width"],
        diameter_nm=max((size for name in widths if (size := sizes[name])), default=None),
        mass_kg=kg,
        caution="none" if kg is None else _caution(kg, given),
        faces=each.faces,
        is_split=row.set_position.is_split if row.set_position else False,
        is_here=is_on or row.is_staged,
        place=(piece.place.path_name or piece.place.name) if piece else "",
        is_substitute=row.is_substitute,
        substitute_reason=row.substitute_reason,
        is_scanned=piece is not None and piece.code in scanned,
        side=row.set_position.side if row.set_position and row.shaft == "side" else "",
    )


def _mass(row: KitPosition, revision: DrawingRevision | None) -> float | None:
    if row.piece is not None:
        return mass_kg(row.piece)
    if revision is None:
        return None
    if revision.mass_g is not None:
        return revision.mass_g / 1000
    outside = revision.outside_diameter_nm or revision.drive_diameter_nm
    width, bore = row.length_nm or revision.face_width_nm, revision.bore_nm or 0
    if not outside or not width or bore >= outside:
        return None
    return mass_of(RollBody(outside, bore, width, revision.material or "steel")).kg


def _caution(kg: float, given: Given) -> str:
    two = float(given.value("lift_two_people"))
    return caution_for(kg, warn_kg=min(float(given.value("lift_warn")), two), two_people_kg=two)
