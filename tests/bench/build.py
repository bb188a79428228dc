"""A shop of any size by bulk load: pieces, twenty movements each, sets, jobs and open kits.

Rows are written past the services for speed; ``verify`` then says whether they hold together.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from itertools import islice

from django.db import connection
from django.utils import timezone

from tooling.engineering.codes import make_code
from tooling.models import (
    Allotment,
    ChartPass,
    Counter,
    Drawing,
    DrawingRevision,
    Job,
    Kit,
    Mill,
    MillShaft,
    Movement,
    Owner,
    Person,
    PersonRole,
    Piece,
    Place,
    Role,
    SetCopy,
    SetPass,
    SetPosition,
    SetupChart,
    Shop,
    Station,
    ToolSet,
)
from tooling.services import kit_assembly, kits

MM = 1_000_000
STATIONS = 24
POSITIONS = 250
MOVES_EACH = 20
KITS = 8
PLACES = 1_000
BATCH = 2_000


@dataclass(frozen=True)
class Built:
    """What the measurements need to find their way."""

    pieces: int
    movements: int
    kit_number: str
    person: Person


class _Codes:
    """Serials of each kind, straight from the arithmetic."""

    def __init__(self) -> None:
        self.next: dict[str, int] = {}

    def take(self, kind: str, count: int) -> list[str]:
        issued: list[str] = []
        serial = self.next.get(kind, 1)
        while len(issued) < count:
            code = make_code(kind, serial)
            serial += 1
            if code:
                issued.append(code)
        self.next[kind] = serial
        return issued

    def save(self) -> None:
        Counter.objects.bulk_create(
            Counter(kind=kind, next_serial=serial) for kind, serial in self.next.items()
        )


def find_built() -> Built:
    """What ``build`` left in the database."""
    return Built(
        pieces=Piece.objects.count(),
        movements=Movement.objects.count(),
        kit_number=Kit.objects.order_by("pk").values_list("number", flat=True)[0],
        person=Person.objects.get(username="bench"),
    )


def build(pieces: int) -> None:
    """Fill an empty, migrated database."""
    codes = _Codes()
    person = _people()
    owner = Owner.objects.create(code="SHOP", name="Bench shop", is_shop=True)
    places = _places(codes)
    mill = _mill(codes)
    drawings = _drawings(max(POSITIONS * KITS, pieces // 10))
    made = _pieces(codes, pieces, drawings, owner, places)
    _movements()
    jobs = [_set_with_job(codes, n, mill, made) for n in range(KITS)]
    codes.save()
    _open_kits(person, jobs)
    _settle()


def _people() -> Person:
    Shop.objects.create(pk=1, name="Bench shop")
    person = Person.objects.create_user("bench", "bench-pass-word", name="Bench")
    PersonRole.objects.bulk_create(PersonRole(person=person, role=role) for role in Role)
    return person


def _places(codes: _Codes) -> list[Place]:
    made = [
        Place(code=code, kind="shelf", name=f"Shelf {n}", path=f"/{code}/", path_name=f"Shelf {n}",
              walking_order=n)
        for n, code in enumerate(codes.take("P", PLACES))
    ]  # fmt: skip
    return Place.objects.bulk_create(made)


def _mill(codes: _Codes) -> Mill:
    area = codes.take("P", 1)[0]
    place = Place.objects.create(
        code=area, kind="area", name="Mill", path=f"/{area}/", path_name="Mill"
    )
    mill = Mill.objects.create(
        number="M1", name="Bench mill", datum="shoulder", hand="left", operator_side="right",
        place=place,
    )  # fmt: skip
    for n in range(1, STATIONS + 1):
        code = codes.take("P", 1)[0]
        spot = Place.objects.create(
            code=code, kind="station", name=f"Station {n}", parent=place,
            path=f"{place.path}{code}/", path_name=f"Mill / Station {n}",
        )  # fmt: skip
        station = Station.objects.create(
            code=codes.take("M", 1)[0], mill=mill, number=n, place=spot,
            centre_to_next_nm=400 * MM, vertical_least_nm=140 * MM, vertical_most_nm=260 * MM,
        )  # fmt: skip
        MillShaft.objects.bulk_create(
            MillShaft(
                station=station, which=which, diameter_nm=60 * MM, roll_space_nm=400 * MM,
                key_width_nm=18 * MM,
            )
            for which in ("top", "bottom")
        )  # fmt: skip
    return mill


def _drawings(count: int) -> list[DrawingRevision]:
    drawings = Drawing.objects.bulk_create(
        [Drawing(number=f"D-{n:06d}", kind="roll") for n in range(count)], batch_size=BATCH
    )
    revisions = [
        DrawingRevision(
            drawing=drawing, revision="A", material="D2", bore_nm=60 * MM,
            keyway_width_nm=18 * MM, keyway_depth_nm=4_400_000, face_width_nm=40 * MM,
            drive_diameter_nm=(150 + n % 24) * MM, root_diameter_nm=(145 + n % 24) * MM,
            outside_diameter_nm=(180 + n % 24) * MM, least_drive_diameter_nm=140 * MM,
            least_root_diameter_nm=138 * MM,
        )
        for n, drawing in enumerate(drawings)
    ]  # fmt: skip
    return DrawingRevision.objects.bulk_create(revisions, batch_size=BATCH)


def _pieces(
    codes: _Codes, count: int, revisions: list[DrawingRevision], owner: Owner, places: list[Place]
) -> list[Piece]:
    rows = (
        Piece(
            code=code, drawing_id=revision.drawing_id, revision=revision, owner=owner,
            mark=f"{n // 250:04d}-{n % 250:03d}", place=places[n % PLACES],
            now_drive_diameter_nm=None, seen_at=timezone.now(),
        )
        for n, code in enumerate(codes.take("R", count))
        for revision in [revisions[n % len(revisions)]]
    )  # fmt: skip
    made: list[Piece] = []
    while part := list(islice(rows, BATCH)):
        made += Piece.objects.bulk_create(part)
    return made


def _movements() -> None:
    """Twenty for each piece, a day apart; the last one puts it where it is now."""
    sqlite = connection.vendor == "sqlite"
    key = "lower(hex(randomblob(16)))" if sqlite else "gen_random_uuid()"
    at = (
        "datetime('2025-06-01', '+' || k.k || ' days', '+' || (p.id % 80000) || ' seconds')"
        if sqlite
        else "timestamptz '2025-06-01 00:00+00' + k.k * interval '1 day' "
        "+ (p.id % 80000) * interval '1 second'"
    )
    first, count = Place.objects.order_by("id").values_list("id", flat=True)[0], PLACES
    true, false = ("1", "0") if sqlite else ("true", "false")
    insert = f"""
        WITH RECURSIVE k(k) AS (SELECT 0 UNION ALL SELECT k + 1 FROM k WHERE k < {MOVES_EACH - 1})
        INSERT INTO tooling_movement (uuid, device_sequence, happened_at, received_at,
            effective_at, clock_offset_ms, clock_is_off, what, piece_id, quantity, to_id, how,
            code_read, content_hash, sees, note)
        SELECT {key}, k.k, {at}, {at}, {at}, 0, {false}, 'move', p.id, 1,
            {first} + (p.id * 7 + k.k * 13) % {count}, 'scan', '', '', {true}, ''
        FROM k CROSS JOIN tooling_piece p ORDER BY k.k, p.id"""
    settle = f"""
        UPDATE tooling_piece SET
            place_id = m.to_id, placed_by_id = m.id, placed_effective_at = m.effective_at,
            placed_received_at = m.received_at, seen_at = m.effective_at
        FROM tooling_movement m
        WHERE m.piece_id = tooling_piece.id AND m.device_sequence = {MOVES_EACH - 1}"""
    with connection.cursor() as cursor:
        cursor.execute(insert)
        cursor.execute(settle)


def _set_with_job(codes: _Codes, n: int, mill: Mill, pieces: list[Piece]) -> Job:
    """A set of 24 passes and 250 positions whose pieces are its own."""
    tool_set = ToolSet.objects.create(
        code=codes.take("T", 1)[0], number=f"S{n}", name=f"Bench set {n}",
        thickness_least_nm=MM, thickness_most_nm=3 * MM,
    )  # fmt: skip
    passes = SetPass.objects.bulk_create(
        SetPass(tool_set=tool_set, number=number) for number in range(1, STATIONS + 1)
    )
    own = pieces[n * POSITIONS : (n + 1) * POSITIONS]
    positions = SetPosition.objects.bulk_create(
        SetPosition(
            set_pass=passes[at % STATIONS], shaft=("top", "bottom")[at // STATIONS % 2],
            order=at // (2 * STATIONS) + 1, drawing_id=piece.drawing_id,
        )
        for at, piece in enumerate(own)
    )  # fmt: skip
    copy = SetCopy.objects.create(tool_set=tool_set, letter="A")
    Allotment.objects.bulk_create(
        Allotment(copy=copy, position=position, piece=piece)
        for position, piece in zip(positions, own, strict=True)
    )
    chart = SetupChart.objects.create(tool_set=tool_set, mill=mill)
    stations = list(mill.stations.order_by("number"))
    ChartPass.objects.bulk_create(
        ChartPass(chart=chart, set_pass=set_pass, station=station)
        for set_pass, station in zip(passes, stations, strict=True)
    )
    starts = timezone.now() + timedelta(days=n + 1)
    return Job.objects.create(
        number=f"J{n}", tool_set=tool_set, mill=mill, thickness_nm=2 * MM, starts_at=starts,
        length_nm=10**13, gathers_at=starts - timedelta(hours=8),
    )  # fmt: skip


def _open_kits(person: Person, jobs: list[Job]) -> None:
    at = timezone.now()
    for job in jobs:
        kit: Kit = kits.open_kit(by=person, at=at, job=job)
        kit_assembly.assemble(by=person, at=at, kit=kit)


def _settle() -> None:
    """Into the state of a server that has run for a while: what it would still do for the rows
    just loaded is done before anything is measured."""
    statements = ["VACUUM (ANALYZE)", "CHECKPOINT"]
    if connection.vendor == "sqlite":
        statements = ["ANALYZE", "PRAGMA wal_checkpoint(TRUNCATE)"]
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)
