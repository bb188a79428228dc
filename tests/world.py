"""A shop made by hand for tests: small builders over the models, one movement per placed piece."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from django.db import connection

from tooling.engineering.codes import make_code
from tooling.models import (
    Allotment,
    Drawing,
    DrawingRevision,
    Job,
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
    StockLine,
    ToolSet,
)
from tooling.models.sets import ChartPass

MM = 1_000_000
_NEXT_SERIAL = (
    "INSERT INTO tooling_counter (kind, next_serial) VALUES (%s, 2) ON CONFLICT (kind) "
    "DO UPDATE SET next_serial = tooling_counter.next_serial + 1 RETURNING next_serial"
)


def make_person(username: str, *roles: Role, name: str = "") -> Person:
    """A person with roles; the password is the user name followed by ``-pass-word``."""
    person = Person.objects.create_user(
        username, f"{username}-pass-word", name=name or username.title()
    )
    PersonRole.objects.bulk_create(PersonRole(person=person, role=role) for role in roles)
    return person


class World:
    """Builders; each gives the saved row. Lengths in mm where a builder's name says so."""

    def __init__(self, *, at: datetime) -> None:
        self.at = at
        Shop.objects.get_or_create(pk=1, defaults={"name": "Test shop"})
        self.shop, _ = Owner.objects.get_or_create(
            code="SHOP", defaults={"name": "The shop", "is_shop": True}
        )

    def code(self, kind: str) -> str:
        """As ``services.codes.next_codes`` issues it, in one statement."""
        while True:
            with connection.cursor() as cursor:
                cursor.execute(_NEXT_SERIAL, [kind])
                serial = cursor.fetchone()[0] - 1
            if code := make_code(kind, serial):
                return code

    def place(
        self, name: str, *, kind: str = "rack", parent: Place | None = None, **fields: Any
    ) -> Place:
        code = self.code("C" if kind in ("cart", "plate") else "P")
        place = Place.objects.create(code=code, kind=kind, name=name, parent=parent, **fields)
        above, above_name = (parent.path, f"{parent.path_name} / ") if parent else ("/", "")
        place.path = f"{above}{code}/"
        place.path_name = f"{above_name}{name}"
        place.save(update_fields=["path", "path_name"])
        return place

    def drawing(self, number: str, *, kind: str = "roll", **dimensions: Any) -> Drawing:
        drawing = Drawing.objects.create(number=number, kind=kind)
        DrawingRevision.objects.create(drawing=drawing, revision="A", **dimensions)
        return drawing

    def piece(
        self, drawing: Drawing, place: Place, *, mark: str = "", seen: bool = True, **fields: Any
    ) -> Piece:
        fields.setdefault("owner", self.shop)
        piece = Piece.objects.create(
            code=self.code(
                "D" if drawing.kind == "side_roll" else "S" if drawing.kind == "spacer" else "R"
            ),
            drawing=drawing,
            revision=drawing.revisions.get(is_current=True),
            place=place,
            mark=mark,
            seen_at=self.at if seen else None,
            **fields,
        )
        before = self.at - timedelta(days=1)
        row = Movement.objects.create(
            happened_at=before,
            received_at=before,
            effective_at=before,
            piece=piece,
            to=place,
            how="import",
            sees=seen,
        )
        piece.placed_by, piece.placed_effective_at, piece.placed_received_at = row, before, before
        piece.save(update_fields=["placed_by", "placed_effective_at", "placed_received_at"])
        return piece

    def stock(self, drawing: Drawing, place: Place, count: int, **fields: Any) -> StockLine:
        fields.setdefault("owner", self.shop)
        line = StockLine.objects.create(
            code=self.code("B"),
            drawing=drawing,
            place=place,
            count=count,
            seen_at=self.at,
            **fields,
        )
        if count:
            before = self.at - timedelta(days=1)
            Movement.objects.create(
                happened_at=before,
                received_at=before,
                effective_at=before,
                what="receive",
                stock=line,
                quantity=count,
                to=place,
                how="import",
            )
        return line

    def mill(self, number: str = "M1", *, stations: int = 4, **fields: Any) -> Mill:
        fields = {
            "name": f"Mill {number}",
            "datum": "shoulder",
            "hand": "left",
            "operator_side": "right",
            **fields,
        }
        mill = Mill.objects.create(
            number=number, place=self.place(f"Mill {number}", kind="area"), **fields
        )
        for n in range(1, stations + 1):
            place = self.place(f"{number} station {n}", kind="station", parent=mill.place)
            station = Station.objects.create(
                code=self.code("M"),
                mill=mill,
                number=n,
                place=place,
                centre_to_next_nm=400 * MM,
                vertical_least_nm=140 * MM,
                vertical_most_nm=260 * MM,
            )
            for which in ("top", "bottom"):
                MillShaft.objects.create(
                    station=station,
                    which=which,
                    diameter_nm=60 * MM,
                    roll_space_nm=300 * MM,
                    key_width_nm=18 * MM,
                )
        return mill

    def tool_set(
        self, number: str, drawings: dict[tuple[int, str, int], Drawing], **fields: Any
    ) -> ToolSet:
        """A set whose positions are given as ``{(pass, shaft, order): drawing}``."""
        tool_set = ToolSet.objects.create(
            code=self.code("T"), number=number, name=f"Set {number}", **fields
        )
        for (n, shaft, order), drawing in sorted(drawings.items()):
            set_pass, _ = SetPass.objects.get_or_create(tool_set=tool_set, number=n)
            SetPosition.objects.create(set_pass=set_pass, shaft=shaft, order=order, drawing=drawing)
        return tool_set

    def copy(
        self,
        tool_set: ToolSet,
        letter: str = "A",
        pieces: dict[tuple[int, str, int], Piece] | None = None,
        **fields: Any,
    ) -> SetCopy:
        copy = SetCopy.objects.create(tool_set=tool_set, letter=letter, **fields)
        for (n, shaft, order), piece in (pieces or {}).items():
            position = SetPosition.objects.get(
                set_pass__tool_set=tool_set,
                set_pass__number=n,
                shaft=shaft,
                order=order,
                variant=None,
            )
            Allotment.objects.create(copy=copy, position=position, piece=piece)
        return copy

    def chart(self, tool_set: ToolSet, mill: Mill, *, first_station: int = 1) -> SetupChart:
        chart = SetupChart.objects.create(tool_set=tool_set, mill=mill)
        for offset, set_pass in enumerate(tool_set.passes.order_by("number")):
            station = mill.stations.get(number=first_station + offset)
            ChartPass.objects.create(chart=chart, set_pass=set_pass, station=station)
        return chart

    def job(
        self,
        tool_set: ToolSet,
        mill: Mill,
        *,
        number: str = "J1",
        in_hours: float = 24,
        **fields: Any,
    ) -> Job:
        starts = self.at + timedelta(hours=in_hours)
        fields = {"hours": 8.0, "gathers_at": starts - timedelta(hours=8), **fields}
        return Job.objects.create(
            number=number, tool_set=tool_set, mill=mill, starts_at=starts, **fields
        )
