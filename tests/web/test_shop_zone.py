"""The shop's own clock on pages, paper and sheets, in what is typed and what programs get; in two
zones, over the night when each puts its clock back."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from tests.paper.reading import page_texts
from tests.rolling import Rolling
from tests.world import World
from tooling.models import Job, Person, Reading, Shop, Work
from tooling.queries.piece_history import piece_history
from tooling.queries.shop_zone import zone_named
from tooling.services import tasks
from tooling.services.movements import move_pieces
from tooling.tasks import Run, work_once

pytestmark = pytest.mark.django_db
LogIn = Callable[[Person], Client]

# 25 October 2026 in Zurich: 03:00 CEST (UTC+2) becomes 02:00 CET (UTC+1), at 01:00 UTC.
# 1 November 2026 in Chicago: 02:00 CDT (UTC-5) becomes 01:00 CST (UTC-6), at 07:00 UTC.
# Rules: IANA time zone database, files europe and northamerica.
ZURICH, CHICAGO = "Europe/Zurich", "America/Chicago"
INSTANTS = [
    (ZURICH, datetime(2026, 10, 24, 22, 30, tzinfo=UTC), "2026-10-25 00:30", "+02:00"),
    (ZURICH, datetime(2026, 10, 25, 0, 30, tzinfo=UTC), "2026-10-25 02:30", "+02:00"),
    (ZURICH, datetime(2026, 10, 25, 1, 30, tzinfo=UTC), "2026-10-25 02:30", "+01:00"),
    (ZURICH, datetime(2026, 10, 25, 23, 30, tzinfo=UTC), "2026-10-26 00:30", "+01:00"),
    (CHICAGO, datetime(2026, 11, 1, 4, 59, tzinfo=UTC), "2026-10-31 23:59", "-05:00"),
    (CHICAGO, datetime(2026, 11, 1, 6, 30, tzinfo=UTC), "2026-11-01 01:30", "-05:00"),
    (CHICAGO, datetime(2026, 11, 1, 7, 30, tzinfo=UTC), "2026-11-01 01:30", "-06:00"),
    (CHICAGO, datetime(2026, 11, 2, 5, 30, tzinfo=UTC), "2026-11-01 23:30", "-06:00"),
]


def shop_in(zone: str) -> None:
    Shop.objects.update_or_create(pk=1, defaults={"name": "S", "time_zone": zone})


def words(answer: Any) -> str:
    return str(answer.content.decode())


@pytest.fixture
def rolling(world: World) -> Rolling:
    return Rolling(world)


@pytest.mark.parametrize(("zone", "instant", "local", "offset"), INSTANTS)
def test_page_paper_and_program_tell_the_shops_time(
    rolling: Rolling, crew: Person, log_in: LogIn, api_as: Any, zone: str, instant: datetime,
    local: str, offset: str,
) -> None:  # fmt: skip
    shop_in(zone)
    kit = rolling.kit(crew)
    Job.objects.filter(pk=kit.job_id).update(starts_at=instant)
    page = log_in(crew)
    assert local in words(page.get("/kits/"))
    paper = page.get(f"/kits/{kit.number}/pull-list.pdf").content
    assert local in " ".join(page_texts(paper))
    told = api_as(crew).get("/api/v1/jobs/J1/").json()
    assert told["starts_at"] == f"{local.replace(' ', 'T')}:00{offset}"


@pytest.mark.parametrize(("zone", "instant", "local", "_offset"), INSTANTS)
def test_sheets_and_slips_tell_the_shops_time(
    attendant: Person, log_in: LogIn, zone: str, instant: datetime, local: str, _offset: str
) -> None:
    shop_in(zone)
    world = World(at=instant - timedelta(days=1))
    pat = world.place("Pat Novak", kind="person")
    piece = world.piece(world.drawing("D1"), world.place("Rack"))
    move_pieces(by=attendant, at=instant, pieces=[piece], to=pat)
    page = log_in(attendant)
    sheet = page.get("/pieces/out/out.csv")
    assert local in (b"".join(sheet) if sheet.streaming else sheet.content).decode("utf-8-sig")
    assert local[:10] in " ".join(
        page_texts(page.get(f"/pieces/out/slip.pdf?place={pat.code}").content)
    )


@pytest.mark.parametrize(
    ("zone", "typed", "kept"),
    [
        (ZURICH, "2026-10-25T01:59", datetime(2026, 10, 24, 23, 59, tzinfo=UTC)),
        (ZURICH, "2026-10-25T03:00", datetime(2026, 10, 25, 2, 0, tzinfo=UTC)),
        (ZURICH, "2027-03-28T03:00", datetime(2027, 3, 28, 1, 0, tzinfo=UTC)),
        (CHICAGO, "2026-11-01T00:59", datetime(2026, 11, 1, 5, 59, tzinfo=UTC)),
        (CHICAGO, "2026-11-01T02:00", datetime(2026, 11, 1, 8, 0, tzinfo=UTC)),
        ("UTC", "2026-10-25T02:30", datetime(2026, 10, 25, 2, 30, tzinfo=UTC)),
    ],
)
def test_what_is_typed_is_the_shops_time(
    rolling: Rolling, engineer: Person, log_in: LogIn, zone: str, typed: str, kept: datetime
) -> None:
    shop_in(zone)
    job = rolling.world.job(rolling.set, rolling.mill)
    page = log_in(engineer)
    answer = page.post("/kits/jobs/J1/edit/", sent(job, starts_at=typed))
    assert answer.status_code == 302, words(answer)
    job.refresh_from_db()
    assert job.starts_at == kept
    assert f'value="{typed}"' in words(page.get("/kits/jobs/J1/edit/"))


def sent(job: Job, **typed: str) -> dict[str, Any]:
    return {
        "number": job.number, "tool_set": job.tool_set_id, "mill": job.mill_id, "hours": "8",
        "unit": "mm", "gathers_at": "", **typed,
    }  # fmt: skip


@pytest.mark.parametrize(
    ("zone", "typed", "code"),
    [
        (ZURICH, "2026-10-25T02:00", "time_twice"),
        (ZURICH, "2026-10-25T02:59", "time_twice"),
        (ZURICH, "2027-03-28T02:30", "no_such_time"),
        (CHICAGO, "2026-11-01T01:30", "time_twice"),
        (CHICAGO, "2027-03-14T02:00", "no_such_time"),
        (CHICAGO, "9999-12-31T23:00", "invalid"),
        (ZURICH, "0001-01-01T00:00", "invalid"),
    ],
)
def test_a_time_that_was_not_or_was_twice_is_told_and_kept_as_typed(
    rolling: Rolling, engineer: Person, log_in: LogIn, zone: str, typed: str, code: str
) -> None:
    shop_in(zone)
    job = rolling.world.job(rolling.set, rolling.mill)
    before = job.starts_at
    answer = log_in(engineer).post("/kits/jobs/J1/edit/", sent(job, starts_at=typed))
    assert answer.status_code == 400
    assert re.findall(r'data-code="(\w+)"', words(answer)) == [code]
    assert f'value="{typed}"' in words(answer)
    job.refresh_from_db()
    assert job.starts_at == before


def test_of_what_happened_an_empty_time_is_the_way_out_of_the_hour_that_was_twice(
    rolling: Rolling, crew: Person, log_in: LogIn
) -> None:
    shop_in(ZURICH)
    url = f"/pieces/{rolling.pieces[1, 'top', 1].code}/reading/"
    said = {"dimension": "bore", "value": "60.01", "happened_at": "2025-10-26T02:30"}
    page = log_in(crew)
    assert "leave it empty for now" in words(page.post(url, said))
    assert page.post(url, {**said, "happened_at": ""}).status_code == 302
    assert timezone.now() - Reading.objects.get().happened_at < timedelta(hours=1)


@pytest.mark.parametrize(
    ("zone", "typed", "status"),
    [
        (ZURICH, "2026-10-25T12:00:00", 200),
        (ZURICH, "2026-10-25T02:30:00", 400),
        (ZURICH, "2026-10-25T02:30:00+01:00", 200),
        (ZURICH, "2027-03-28T02:30:00", 400),
        (ZURICH, "0001-01-01T00:00:00", 400),
    ],
)
def test_a_program_may_leave_the_offset_out_where_the_time_is_clear(
    rolling: Rolling, engineer: Person, api_as: Any, zone: str, typed: str, status: int
) -> None:
    shop_in(zone)
    rolling.world.job(rolling.set, rolling.mill)
    client = api_as(engineer)
    typed_both = {"starts_at": typed, "gathers_at": "2026-10-01T06:00:00Z"}
    answer = client.patch("/api/v1/jobs/J1/", typed_both, format="json")
    assert answer.status_code == status, answer.json()
    if status == 200:
        assert answer.json()["starts_at"].startswith(typed)
    else:
        assert answer.json()["code"] in ("time_twice", "no_such_time", "invalid")


def test_another_zone_holds_from_the_next_page_on_for_everybody(
    rolling: Rolling, crew: Person, supervisor: Person, api_as: Any
) -> None:
    shop_in("UTC")
    rolling.world.job(rolling.set, rolling.mill)
    instant = datetime(2026, 7, 1, 4, tzinfo=UTC)
    Job.objects.update(starts_at=instant)
    client = api_as(crew)
    assert client.get("/api/v1/jobs/J1/").json()["starts_at"] == "2026-07-01T04:00:00Z"
    page = Client()
    page.force_login(supervisor, backend="tooling.web.zone.ShopBackend")
    form = {"name": "S", "time_zone": ZURICH, "length_unit": "mm", "strip_unit": "m"}
    assert page.post("/shop/edit/", form).status_code == 302
    assert client.get("/api/v1/jobs/J1/").json()["starts_at"] == "2026-07-01T06:00:00+02:00"
    assert timezone.get_current_timezone_name() == "UTC"  # nothing stays behind a request


def test_who_logged_in_before_the_zone_came_with_the_person_has_it_too(
    rolling: Rolling, crew: Person
) -> None:
    shop_in(CHICAGO)
    rolling.kit(crew)
    Job.objects.update(starts_at=datetime(2026, 7, 1, 4, tzinfo=UTC))
    page = Client()
    page.force_login(crew, backend="django.contrib.auth.backends.ModelBackend")
    assert "2026-06-30 23:00" in words(page.get("/kits/"))


@pytest.mark.parametrize("zone", ["Mars/Olympus", "", "..", "Europe"])
def test_a_zone_that_is_none_stops_no_page(crew: Person, log_in: LogIn, zone: str) -> None:
    shop_in(zone)
    assert log_in(crew).get("/today/").status_code == 200
    assert str(zone_named(zone)) == "UTC"


@pytest.mark.parametrize("zone", [ZURICH, CHICAGO, "UTC"])
def test_work_of_a_day_stands_on_that_day_and_pages_on_after_it(
    world: World, engineer: Person, zone: str
) -> None:
    piece = world.piece(world.drawing("D1"), world.place("Rack"))
    days = [date(2026, 10, 24), date(2026, 10, 25), date(2026, 11, 1)]
    for day in days:
        Work.objects.create(piece=piece, kind="polish", done_on=day, received_at=world.at)
    with timezone.override(zone):
        seen, after = [], ""
        while True:
            page = piece_history(piece.code, after=after, size=1)
            seen += [timezone.localdate(entry.at) for entry in page.entries if entry.kind == "work"]
            after = page.after
            if not after:
                break
    assert seen == days[::-1]


def test_the_worker_lives_in_the_shops_zone(engineer: Person, at: datetime) -> None:
    shop_in(CHICAGO)

    def note(run: Run) -> dict[str, object]:
        return {"hour": timezone.localtime(at).hour, "day": str(timezone.localdate(at))}

    task = tasks.ask(by=engineer, at=at, kind="note", given={})
    assert work_once({"note": note})
    task.refresh_from_db()
    assert task.result == {"hour": 3, "day": "2026-11-25"}  # 09:00 UTC, six hours behind
    assert timezone.get_current_timezone_name() == "UTC"
