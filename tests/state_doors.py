"""One shop with one kit, and two doors to it: the API and the pages. Each door does the same acts
and says the same states, so one table of transitions is walked through both."""

from __future__ import annotations

import re
import uuid
from datetime import timedelta
from typing import Any

from django.test import Client
from django.utils import timezone
from rest_framework.test import APIClient

from tests.rolling import Rolling
from tests.world import MM, World
from tooling.models import Kit, Person, Piece, Place, SetPosition, StockLine, WorkKind
from tooling.models.pieces import DrawingRevision
from tooling.models.regrinds import Work
from tooling.models.wear import LengthEntry

TOP = ("1", "top", "1")
SPACER = ("1", "top", "2")
PIECE = re.compile(
    r'<g class="piece[^"]*" data-code="(\w*)" data-state="(\w+)" data-station="(\d+)" '
    r'data-shaft="(\w+)" data-order="(\d+)"'
)
KM = 10**12


class Trade:
    """A kit of four rolls and one pooled spacer, gathered in a cart, with places to lose them in.

    The roll at the first place must stay at least 49 mm wide and 140 mm in drive diameter. Two
    rolls alike ran 15 and 25 km before their regrinds, so 20 km is usual; the job runs 10 km.
    """

    def __init__(self, world: World, crew: Person) -> None:
        shop = Rolling(world)
        self.world, self.shop = world, shop
        self.piece: Piece = shop.pieces[1, "top", 1]
        DrawingRevision.objects.filter(drawing=self.piece.drawing).update(
            least_face_width_nm=49 * MM
        )
        spacer = world.drawing("SP", kind="spacer", bore_nm=60 * MM, face_width_nm=10 * MM)
        SetPosition.objects.create(
            set_pass=shop.set.passes.get(number=1), shaft="top", order=2, drawing=spacer
        )
        self.bin: StockLine = world.stock(spacer, shop.rack, 3)
        for km in (15, 25):
            self._recut_after(world.piece(self.piece.drawing, shop.rack, condition="cracked"), km)
        self.grinder = world.place("Outside grinder", kind="grinder")
        self.lost = world.place("Lost", kind="lost")
        self.kit: Kit = shop.kit(crew, length_nm=10 * KM)
        Kit.objects.filter(pk=self.kit.pk).update(place=shop.cart)

    def _recut_after(self, piece: Piece, km: int) -> None:
        ran, recut = self.world.at - timedelta(days=60), self.world.at - timedelta(days=30)
        LengthEntry.objects.create(
            piece=piece, length_nm=km * KM, happened_at=ran, received_at=ran, source="import"
        )
        Piece.objects.filter(pk=piece.pk).update(length_run_nm=km * KM)
        Work.objects.create(
            piece=piece,
            kind=WorkKind.REGRIND,
            done_on=timezone.localtime(recut).date(),
            received_at=recut,
            source="import",
        )


class ApiDoor:
    """Acts and states through ``/api/v1/``."""

    def __init__(self, client: APIClient, kit: str) -> None:
        self.client = client
        self.kit = kit

    def _done(self, answer: Any) -> Any:
        assert answer.status_code < 300, answer.content
        return answer.json() if answer.content else None

    def post(self, path: str, **body: Any) -> Any:
        return self._done(self.client.post(f"/api/v1/{path}", body, format="json"))

    def move(self, code: str, to: Place | Kit | str) -> None:
        where = to if isinstance(to, str) else getattr(to, "code", "") or to.number  # type: ignore[union-attr]
        now = timezone.now().isoformat()
        scan = {
            "id": str(uuid.uuid4()), "happened_at": now, "to": where, "code": code, "how": "scan",
        }  # fmt: skip
        (result,) = self.post("scans/", device="gate", device_now=now, scans=[scan])["results"]
        assert result["status"] == "taken", result

    def measure(self, code: str, dimension: str, mm: str) -> None:
        self.post(f"pieces/{code}/readings/", dimension=dimension, value_mm=mm, sure=True)

    def hold(self, code: str, reason: str) -> None:
        self.post(f"pieces/{code}/hold/", reason=reason)

    def lift(self, code: str) -> None:
        self.post(f"pieces/{code}/lift/", condition="sound", reason="checked")

    def ran(self, code: str, metres: str) -> None:
        self.post(f"pieces/{code}/lengths/", length_m=metres)

    def count(self, code: str, there: int) -> None:
        self.post(f"stock/{code}/change/", what="count", quantity=there)

    def place_of(self, kit: str, place: Place) -> None:
        answer = self.client.patch(f"/api/v1/kits/{kit}/", {"place": place.code}, format="json")
        self._done(answer)

    def close(self, kit: str, reason: str) -> None:
        self.post(f"kits/{kit}/close/", reason=reason)


class PageDoor:
    """The same acts through the forms of the pages, as without script."""

    def __init__(self, client: Client, kit: str) -> None:
        self.client = client
        self.kit = kit

    def post(self, path: str, **form: Any) -> None:
        answer = self.client.post(path, form)
        assert answer.status_code == 302, said_problems(answer)

    def move(self, code: str, to: Place | Kit | str) -> None:
        where = to if isinstance(to, str) else getattr(to, "code", "") or to.number  # type: ignore[union-attr]
        self.post("/scan/enter/", code=code, to=where)

    def measure(self, code: str, dimension: str, mm: str) -> None:
        form = {"dimension": dimension, "value": f"{mm} mm", "sure": "on"}
        self.post(f"/pieces/{code}/reading/", **form)

    def hold(self, code: str, reason: str) -> None:
        self.post(f"/pieces/{code}/stop/", what="in_doubt", note=reason)

    def lift(self, code: str) -> None:
        self.post(f"/pieces/{code}/lift/", condition="sound", reason="checked")

    def ran(self, code: str, metres: str) -> None:
        self.post(f"/pieces/{code}/length/", length=f"{metres} m")

    def count(self, code: str, there: int) -> None:
        self.post(f"/pieces/stock/{code}/change/", verb="count", quantity=there)

    def place_of(self, kit: str, place: Place) -> None:
        self.post(f"/kits/{kit}/place/", place=place.code)

    def close(self, kit: str, reason: str) -> None:
        self.post(f"/kits/{kit}/close/", reason=reason)


Door = ApiDoor | PageDoor


def said_problems(answer: Any) -> list[str]:
    """What a page says is wrong, in plain words."""
    found = re.findall(r'class="problem[^"]*"[^>]*>(.*?)</div>', answer.content.decode(), re.S)
    return [re.sub(r"<[^>]+>|\s+", " ", each).strip() for each in found]


class States:
    """How the kit stands, as a program and as a page tell it; the two must agree."""

    def __init__(self, api: APIClient, page: Client, kit: str) -> None:
        self.api = api
        self.page = page
        self.kit = kit

    def by_api(self) -> dict[tuple[str, str, str], str]:
        body = self.api.get(f"/api/v1/kits/{self.kit}/").json()
        states = {
            (str(each["station"]), each["shaft"], str(each["order"])): each["state"]
            for each in body["positions"]
        }
        counted = {name: n for name, n in body["counts"].items() if n}
        assert counted == {name: list(states.values()).count(name) for name in states.values()}
        return states

    def by_page(self) -> dict[tuple[str, str, str], str]:
        words = self.page.get(f"/kits/{self.kit}/").content.decode()
        return {spot: state for _code, state, *rest in PIECE.findall(words) for spot in [(*rest,)]}

    def of(self, spot: tuple[str, str, str]) -> str:
        told = self.by_api()
        assert self.by_page() == told
        return told[spot]
