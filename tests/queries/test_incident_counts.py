"""What pictures, incidents and holds ask of the database, whatever there is of them."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.rolling import Rolling
from tests.world import World
from tooling.models import Incident, IncidentPiece, Kit, Person, Picture, Piece, StoredFile
from tooling.queries.at_work import kit_on, kits_at_work, pieces_at_work, stations_at_work
from tooling.queries.holds import hold_part
from tooling.queries.incidents import incident_list, incident_page
from tooling.queries.pictures import picture_list, pictures_of_piece, shown_file

pytestmark = pytest.mark.django_db
COUNTS: dict[str, int] = json.loads((Path(__file__).parents[1] / "query_counts.json").read_text())


class Trouble:
    """A kit on a mill, an incident with N pieces and pictures, and N further incidents."""

    def __init__(self, world: World, crew: Person, rows: int) -> None:
        shop = Rolling(world)
        self.crew, self.mill, self.kit = crew, shop.mill, shop.kit(crew)
        self.piece = shop.pieces[1, "top", 1]
        at = world.at
        file = StoredFile.objects.create(
            sha256="a" * 64, content_type="image/jpeg", size=1, stored_at=at
        )
        made = {"kind": "crash", "mill": shop.mill, "kit": self.kit, "by": crew, "at": at}
        self.incident, *_more = Incident.objects.bulk_create(
            Incident(happened_at=at - timedelta(hours=n), **made) for n in range(rows + 1)
        )
        pieces = Piece.objects.bulk_create(
            Piece(
                code=f"RX{n:06d}", drawing=self.piece.drawing, revision=self.piece.revision,
                owner=self.piece.owner, place=shop.mill.stations.get(number=1).place,
            )
            for n in range(rows)
        )  # fmt: skip
        IncidentPiece.objects.bulk_create(
            IncidentPiece(
                incident=self.incident, piece=piece, condition_before="sound",
                condition_after="hold",
            )
            for piece in (*pieces, self.piece)
        )  # fmt: skip
        Picture.objects.bulk_create(
            Picture(
                file=file, small=file, width=9, height=9, piece=self.piece,
                incident=self.incident, at=at, by=crew,
            )
            for _n in range(rows)
        )  # fmt: skip


PAGES: dict[str, Callable[[Trouble], Any]] = {
    "incident list": lambda t: incident_list(),
    "incident page": lambda t: incident_page(t.incident.pk),
    "pictures of a piece": lambda t: pictures_of_piece(t.piece.code),
    "picture list": lambda t: picture_list(),
    "hold of a piece": lambda t: hold_part(code=t.piece.code, is_held=True, by=t.crew),
    "kits at work": lambda t: kits_at_work(t.mill),
    "kit on a mill": lambda t: kit_on(t.mill),
    "stations at work": lambda t: stations_at_work(t.mill, Kit.objects.get()),
    "pieces at work": lambda t: pieces_at_work(t.mill, Kit.objects.get(), 1),
}


@pytest.mark.parametrize("rows", [0, 1, 250])
def test_no_page_of_trouble_asks_more_when_there_is_more(
    world: World, crew: Person, rows: int
) -> None:
    trouble = Trouble(world, crew, rows)
    for name, read in PAGES.items():
        with CaptureQueriesContext(connection) as asked:
            read(trouble)
        assert len(asked) == COUNTS[name], name
    if rows:
        assert len(incident_page(trouble.incident.pk).touched) == rows + 1
        assert len(pictures_of_piece(trouble.piece.code)) == min(rows, 12)
        assert shown_file("a" * 64).size == 1
