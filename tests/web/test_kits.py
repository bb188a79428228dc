"""Kits on their pages: the list, the ribbon with its list, what people do, what is refused."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from django.test import Client
from django.utils import timezone

from tests.standing import Standing
from tests.web.kit_shop import ROLL, KitShop, position, small_shop
from tests.world import World
from tooling.models import Job, Kit, KitState, Person
from tooling.queries.stock_pools import POOLED

pytestmark = pytest.mark.django_db
LogIn = Callable[[Person], Client]

PIECE = re.compile(
    r'<g class="piece[^"]*" data-code="(\w*)" data-state="(\w+)" data-station="(\d+)" '
    r'data-shaft="(\w+)" data-order="(\d+)" data-width-nm="(\d*)" data-diameter-nm="(\d*)">'
)
ROW = re.compile(
    r'<tr role="row" data-code="(\w*)" data-state="(\w+)" data-station="(\d+)" '
    r'data-shaft="(\w+)" data-order="(\d+)">'
)


@pytest.fixture(scope="module")
def standing_shop(standing: Standing) -> KitShop:
    return small_shop(World(at=timezone.now()))


@pytest.fixture
def shop(db: None, standing: Standing, standing_shop: KitShop) -> KitShop:
    return standing.copy(standing_shop)


@pytest.fixture
def kit(shop: KitShop, crew: Person) -> Kit:
    return shop.open(crew)


@pytest.fixture
def page(log_in: LogIn, crew: Person) -> Client:
    return log_in(crew)


def words(answer) -> str:
    return answer.content.decode()


def problems(answer) -> list[str]:
    return re.findall(r'class="problem[^"]*" data-code="(\w+)"', words(answer))


# The list and opening.


def test_a_job_without_a_kit_can_have_one_opened(page: Client, shop: KitShop) -> None:
    assert "Open a kit" in words(page.get("/kits/"))
    answer = page.post("/kits/open/", {"job": "24-1187"})
    kit = Kit.objects.get()
    assert answer.url == f"/kits/{kit.number}/"
    assert "Assemble the kit" in words(page.get(answer.url))


def test_the_list_says_how_complete_each_kit_is(page: Client, kit: Kit) -> None:
    said = words(page.get("/kits/"))
    assert "0 of 12 pieces here, 12 to fetch" in said
    assert 'data-state="to_fetch"' in said
    assert f'href="/kits/{kit.number}/"' in said


def test_an_unknown_kit_is_a_sentence(page: Client, shop: KitShop) -> None:
    answer = page.get("/kits/K9999999/")
    assert (answer.status_code, problems(answer)) == (404, ["unknown_kit"])


@pytest.mark.parametrize(
    "path", ["", "live/", "pull-list/", "pull-list.pdf", "stations/2/top/", "fit/"]
)
def test_a_viewer_reads_everything_of_a_kit(
    log_in: LogIn, viewer: Person, kit: Kit, path: str
) -> None:
    assert log_in(viewer).get(f"/kits/{kit.number}/{path}").status_code == 200


@pytest.mark.parametrize("verb", ["assemble", "close", "place", "choose", "tick", "fetch"])
def test_a_viewer_changes_nothing(log_in: LogIn, viewer: Person, kit: Kit, verb: str) -> None:
    row = position(kit, 2, "top", 1)
    typed = {"position": row.pk, "code": row.piece.code, "place": "Cart 7", "reason": "off"}
    answer = log_in(viewer).post(f"/kits/{kit.number}/{verb}/", typed)
    kit.refresh_from_db()
    row.refresh_from_db()
    assert answer.status_code == 403
    assert (kit.state, row.is_staged) == (KitState.GATHERING, False)


def test_a_viewer_has_no_scan_field(log_in: LogIn, viewer: Person, kit: Kit) -> None:
    assert 'id="scan-field"' not in words(log_in(viewer).get(f"/kits/{kit.number}/"))


def test_without_a_login_every_page_asks_for_one(client: Client, kit: Kit) -> None:
    for path in ("/kits/", f"/kits/{kit.number}/", f"/kits/{kit.number}/live/?v=1", "/today/"):
        assert client.get(path).url.startswith("/login/")


# The ribbon.


def test_ribbon_and_list_hold_the_same_pieces_in_the_same_order(page: Client, kit: Kit) -> None:
    said = words(page.get(f"/kits/{kit.number}/"))
    drawn = [found[:5] for found in PIECE.findall(said)]
    assert len(drawn) == 12
    assert drawn == ROW.findall(said)


def test_the_ribbon_has_a_column_for_idle_stations_too(page: Client, kit: Kit) -> None:
    said = words(page.get(f"/kits/{kit.number}/"))
    assert re.findall(r'<li class="station( idle)?" id="station-(\d+)"', said) == [
        (" idle", "1"), ("", "2"), ("", "3"), ("", "4")
    ]  # fmt: skip


def test_the_strip_comes_in_where_the_operator_sees_it(page: Client, kit: Kit) -> None:
    # Standing on the right and facing the mill, downstream is to the right: entry on the left.
    assert '<ol class="ribbon" id="ribbon" data-entry="left"' in words(
        page.get(f"/kits/{kit.number}/")
    )
    kit.job.mill.operator_side = "left"
    kit.job.mill.save()
    assert '<ol class="ribbon" id="ribbon" data-entry="right"' in words(
        page.get(f"/kits/{kit.number}/")
    )


def test_a_ribbon_piece_has_its_size_as_data(page: Client, kit: Kit) -> None:
    drawn = PIECE.findall(words(page.get(f"/kits/{kit.number}/")))
    assert drawn[0][5:] == ("40000000", "150000000")
    assert drawn[1][5:] == ("25000000", "90000000")


def test_there_is_one_scan_field_that_fills_this_kit(page: Client, kit: Kit) -> None:
    said = words(page.get(f"/kits/{kit.number}/"))
    assert said.count('id="scan-field"') == 1
    assert f'data-to="{kit.number}"' in said


def test_a_poll_without_news_is_empty_and_one_with_news_is_the_live_part(
    page: Client, kit: Kit, shop: KitShop
) -> None:
    at = f"/kits/{kit.number}/live/?v={kit.version}"
    assert (page.get(at).status_code, page.get(at).content) == (204, b"")
    page.post(f"/kits/{kit.number}/tick/", {"position": position(kit, 2, "top", 1).pk})
    answer = page.get(at)
    kit.refresh_from_db()
    assert answer.status_code == 200
    assert words(answer).strip().startswith('<div id="kit-live"')
    assert f'data-version="{kit.version}"' in words(answer)
    assert "1 of 12 pieces here" in words(answer)


def test_a_closed_kit_polls_no_more(page: Client, kit: Kit) -> None:
    page.post(f"/kits/{kit.number}/close/", {"reason": "job is off"})
    said = words(page.get(f"/kits/{kit.number}/"))
    assert "hx-trigger" not in said
    assert 'id="scan-field"' not in said
    assert "Closed short" in said


# What people do.


def test_assembling_fills_every_position(page: Client, shop: KitShop, crew: Person) -> None:
    kit = shop.open(crew, assembled=False)
    page.post(f"/kits/{kit.number}/assemble/")
    pieces = kit.positions.exclude(piece=None).count()
    assert (pieces, kit.positions.filter(POOLED).count()) == (6, 6)


def test_the_one_next_thing_follows_the_kit(page: Client, shop: KitShop, crew: Person) -> None:
    kit = shop.open(crew, assembled=False, gathered=False)
    assert "Assemble the kit" in words(page.get(f"/kits/{kit.number}/"))
    page.post(f"/kits/{kit.number}/assemble/")
    assert 'href="#place">Choose the place' in words(page.get(f"/kits/{kit.number}/"))
    page.post(f"/kits/{kit.number}/place/", {"place": "Cart 7"})
    assert "Fetch them" in words(page.get(f"/kits/{kit.number}/"))


def test_a_tick_brings_a_piece_with_an_unreadable_label_in(page: Client, kit: Kit) -> None:
    row = position(kit, 2, "top", 1)
    answer = page.post(f"/kits/{kit.number}/tick/", {"position": row.pk})
    row.refresh_from_db()
    assert answer.url == f"/kits/{kit.number}/#list-2"
    assert (row.is_staged, row.piece.place.name) == (True, "Cart 7")
    assert row.piece.placed_by.how == "tick"


def test_a_spacer_is_ticked_from_its_bin(page: Client, kit: Kit, shop: KitShop) -> None:
    page.post(f"/kits/{kit.number}/tick/", {"position": position(kit, 2, "top", 2).pk})
    shop.spacers.refresh_from_db()
    assert shop.spacers.count == 5
    assert kit.positions.filter(is_staged=True, stock_line__isnull=False).count() == 1


def test_a_set_from_paper_becomes_pieces_when_the_first_is_ticked(
    page: Client, shop: KitShop, crew: Person
) -> None:
    drawings = {(1, "top", 1): shop.world.drawing("2411-01-T1", **ROLL)}
    drawings[(1, "bottom", 1)] = shop.world.drawing("2411-01-B1", **ROLL)
    shop.tool_set = shop.world.tool_set("2411", drawings)
    shop.world.copy(shop.tool_set, "A", home=shop.shelf, from_paper_count=2)
    shop.world.chart(shop.tool_set, shop.mill)
    shop.job = shop.world.job(shop.tool_set, shop.mill, number="24-1195")
    kit = shop.open(crew)
    assert "2 not yet seen" in words(page.get(f"/kits/{kit.number}/"))
    page.post(f"/kits/{kit.number}/tick/", {"position": position(kit, 1, "top", 1).pk})
    row = position(kit, 1, "top", 1)
    assert (row.is_staged, row.piece.place.name) == (True, "Cart 7")
    assert position(kit, 1, "bottom", 1).piece.seen_at is None
    assert "1 of 2 pieces here, 1 to fetch, 1 not yet seen" in words(
        page.get(f"/kits/{kit.number}/")
    )


def test_a_position_for_which_nothing_is_chosen_cannot_be_ticked(page: Client, kit: Kit) -> None:
    row = position(kit, 2, "top", 1)
    kit.positions.filter(pk=row.pk).update(piece=None)
    answer = page.post(f"/kits/{kit.number}/tick/", {"position": row.pk})
    assert (answer.status_code, problems(answer)[0]) == (400, "nothing_chosen")


def test_a_position_of_another_kit_is_refused(page: Client, kit: Kit) -> None:
    answer = page.post(f"/kits/{kit.number}/tick/", {"position": "999999"})
    assert (answer.status_code, problems(answer)[0]) == (404, "unknown_code")
    answer = page.post(f"/kits/{kit.number}/tick/", {"position": "first"})
    assert (answer.status_code, problems(answer)[0]) == (404, "unknown_position")


def test_a_missing_piece_is_a_problem_with_its_way_out(
    page: Client, kit: Kit, shop: KitShop
) -> None:
    lost = shop.world.place("Lost", kind="lost")
    row = position(kit, 2, "top", 1)
    spare = shop.world.piece(row.drawing, shop.shelf, mark="01-T spare")
    row.piece.place = lost
    row.piece.save()
    answer = page.get(f"/kits/{kit.number}/")
    assert problems(answer) == ["missing"]
    assert f'name="code" value="{spare.code}"' in words(answer)
    page.post(f"/kits/{kit.number}/choose/", {"position": row.pk, "code": spare.code})
    row.refresh_from_db()
    assert (row.piece, row.is_substitute) == (spare, True)
    assert problems(page.get(f"/kits/{kit.number}/")) == []


def test_a_piece_may_be_chosen_by_its_mark(page: Client, kit: Kit, shop: KitShop) -> None:
    row = position(kit, 2, "top", 1)
    spare = shop.world.piece(row.drawing, shop.shelf, mark="spare 9")
    page.post(f"/kits/{kit.number}/choose/", {"position": row.pk, "code": "Spare 9"})
    row.refresh_from_db()
    assert row.piece == spare


def test_a_piece_of_another_drawing_is_refused_and_nothing_changes(
    page: Client, kit: Kit, shop: KitShop
) -> None:
    row = position(kit, 2, "top", 1)
    other = shop.world.piece(shop.world.drawing("0881-01-T1", **ROLL), shop.shelf)
    answer = page.post(f"/kits/{kit.number}/choose/", {"position": row.pk, "code": other.code})
    before = row.piece
    row.refresh_from_db()
    assert (answer.status_code, problems(answer)[0]) == (409, "other_drawing")
    assert row.piece == before


def test_a_place_that_another_kit_has_is_refused_in_place(
    page: Client, kit: Kit, shop: KitShop, crew: Person
) -> None:
    shop.job = shop.world.job(shop.tool_set, shop.mill, number="24-1190", in_hours=90)
    other = shop.open(crew, gathered=False)
    answer = page.post(f"/kits/{other.number}/place/", {"place": "Cart 7"})
    assert answer.status_code == 400
    assert "place_taken" in problems(answer)
    assert 'value="Cart 7"' in words(answer)


def test_a_short_kit_asks_for_a_reason_in_place(page: Client, kit: Kit) -> None:
    answer = page.post(f"/kits/{kit.number}/close/", {"reason": ""})
    kit.refresh_from_db()
    assert (answer.status_code, kit.state) == (400, KitState.GATHERING)
    assert "kit_short" in problems(answer)


def test_a_short_kit_closes_with_a_reason(page: Client, kit: Kit) -> None:
    page.post(f"/kits/{kit.number}/close/", {"reason": "run without pass 3"})
    kit.refresh_from_db()
    assert (kit.is_short, kit.short_reason) == (True, "run without pass 3")
    assert kit.number in words(page.get("/kits/?closed=1"))


def test_a_closed_kit_takes_nothing_more(page: Client, kit: Kit) -> None:
    row = position(kit, 2, "top", 1)
    page.post(f"/kits/{kit.number}/close/", {"reason": "job is off"})
    answer = page.post(f"/kits/{kit.number}/tick/", {"position": row.pk})
    assert "kit_closed" in problems(answer)


# The pull list.


def test_the_pull_list_walks_from_place_to_place(page: Client, kit: Kit, shop: KitShop) -> None:
    near = shop.world.place("Rack A", walking_order=1)
    roll = shop.pieces[(3, "bottom", 1)]
    roll.place = near
    roll.save()
    said = words(page.get(f"/kits/{kit.number}/pull-list/"))
    assert said.index("1. ") < said.index(roll.code) < said.index("2. ")
    assert "Lock out before hands go in" in said
    assert said.count('type="checkbox"') == 7  # six rolls, the spacers of one bin as one line


def test_what_is_ticked_on_the_pull_list_lies_in_the_kit(page: Client, kit: Kit) -> None:
    codes = [row.piece.code for row in kit.positions.exclude(piece=None)[:3]]
    answer = page.post(f"/kits/{kit.number}/fetch/", {"code": codes}, follow=True)
    assert "3 are in the kit now." in words(answer)
    assert kit.positions.filter(is_staged=True).count() == 3


def test_nothing_ticked_is_said(page: Client, kit: Kit) -> None:
    answer = page.post(f"/kits/{kit.number}/fetch/")
    assert (answer.status_code, problems(answer)[0]) == (400, "nothing_ticked")


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_pull_list_is_a_pdf_too(page: Client, kit: Kit, paper: str) -> None:
    answer = page.get(f"/kits/{kit.number}/pull-list.pdf?paper={paper}")
    assert answer.headers["Content-Type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF-")


# One shaft.


def test_a_shaft_shows_its_stack_from_the_shoulder(page: Client, kit: Kit) -> None:
    said = words(page.get(f"/kits/{kit.number}/stations/2/top/"))
    assert len(PIECE.findall(said)) == 2
    assert said.index('id="p-1"') < said.index('id="p-2"')
    assert f'href="/kits/{kit.number}/stations/2/bottom/"' in said


@pytest.mark.parametrize("path", ["stations/99/top/", "stations/2/middle/"])
def test_a_shaft_that_is_not_there_is_not_found(page: Client, kit: Kit, path: str) -> None:
    assert page.get(f"/kits/{kit.number}/{path}").status_code == 404


# Planning.

PLAN = {"number": "24-1201", "starts_at": "2031-03-03T06:00", "hours": "8", "unit": "mm"}


def test_an_engineer_plans_a_job(log_in: LogIn, engineer: Person, shop: KitShop) -> None:
    typed = {
        **PLAN, "tool_set": shop.tool_set.pk, "mill": shop.mill.pk,
        "thickness_nm": "1.2", "width_nm": "120", "strip_length": "4000 m",
    }  # fmt: skip
    answer = log_in(engineer).post("/kits/plan/", typed)
    job = Job.objects.get(number="24-1201")
    assert answer.status_code == 302
    assert (job.thickness_nm, job.length_nm) == (1_200_000, 4_000 * 10**9)


def test_a_job_that_cannot_be_is_refused_with_all_that_was_typed(
    log_in: LogIn, engineer: Person, shop: KitShop
) -> None:
    typed = {**PLAN, "tool_set": shop.tool_set.pk, "mill": shop.mill.pk, "strip_length": "long"}
    answer = log_in(engineer).post("/kits/plan/", typed)
    assert answer.status_code == 400
    assert "not_a_length" in problems(answer)
    assert 'value="24-1201"' in words(answer)
    assert not Job.objects.filter(number="24-1201").exists()


def test_the_crew_plans_no_jobs(page: Client, shop: KitShop) -> None:
    assert page.get("/kits/plan/").status_code == 403


def test_two_jobs_that_want_the_same_pieces_say_so_and_a_planner_turns_them(
    log_in: LogIn, engineer: Person, shop: KitShop, kit: Kit, crew: Person
) -> None:
    shop.job = shop.world.job(shop.tool_set, shop.mill, number="24-1190", in_hours=26)
    shop.cart = shop.world.place("Cart 2", kind="cart")
    other = shop.open(crew, assembled=False)
    for mine in kit.positions.exclude(piece=None):
        other.positions.filter(set_position=mine.set_position).update(piece=mine.piece)
    client = log_in(engineer)
    for each in (kit, other):
        assert "conflict" in problems(client.get(f"/kits/{each.number}/"))
    said = words(client.get(f"/kits/{other.number}/"))
    assert "Let this job gather first" in said
    client.post(f"/kits/{other.number}/turn/", {"other": "24-1187"})
    shop.job.refresh_from_db()
    assert shop.job.gathers_at < kit.job.gathers_at
