"""A job's own page: the plan changed, the run shortened, the job called off; nothing typed lost."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from tests.web.kit_shop import KitShop, small_shop
from tests.world import MM, World
from tooling.models import Change, Job, JobState, KitState, LengthEntry, Person, Piece, Work

pytestmark = pytest.mark.django_db
LogIn = Callable[[Person], Client]
M = 10**9
PAGE = "/kits/jobs/24-1187/edit/"
CANCEL = "/kits/jobs/24-1187/cancel/"


@pytest.fixture
def shop(db: None) -> KitShop:
    made = small_shop(World(at=timezone.now()))
    changes = {"thickness_nm": 1_250_001, "width_nm": 120 * MM, "length_nm": 10_000 * M}
    Job.objects.filter(pk=made.job.pk).update(grade="DX51D", coating="Z275", **changes)
    made.job.refresh_from_db()
    return made


@pytest.fixture
def page(log_in: LogIn, engineer: Person) -> Client:
    return log_in(engineer)


def words(answer: Any) -> str:
    return str(answer.content.decode())


def problems(answer: Any) -> list[str]:
    return re.findall(r'class="problem[^"]*" data-code="(\w+)"', words(answer))


def filled(client: Client, **changed: Any) -> dict[str, Any]:
    """The form as the browser would send it, with some fields typed over."""
    form = client.get(PAGE).context["form"]
    sent = {name: form[name].value() for name in form.fields}
    for name in ("starts_at", "gathers_at"):
        sent[name] = sent[name].strftime("%Y-%m-%dT%H:%M")
    for name in ("tool_set", "mill", "variant", "customer"):
        sent[name] = getattr(sent.get(name), "pk", sent.get(name))
    return {name: value for name, value in {**sent, **changed}.items() if value is not None}


def test_the_page_shows_the_plan_as_it_stands(page: Client, shop: KitShop) -> None:
    said = words(page.get(PAGE))
    for value in ("DX51D", "Z275", "10000 m", "8"):
        assert f'value="{value}"' in said
    assert f'<option value="{shop.mill.pk}" selected>' in said


def test_saving_without_a_change_changes_nothing_not_even_the_last_nanometre(
    page: Client, shop: KitShop
) -> None:
    before = Job.objects.filter(pk=shop.job.pk).values().get()
    answer = page.post(PAGE, filled(page))
    assert answer.status_code == 302
    assert Job.objects.filter(pk=shop.job.pk).values().get() == before
    assert not Change.objects.filter(subject="Job").exists()


def test_what_is_typed_over_is_saved_with_its_history(page: Client, shop: KitShop) -> None:
    typed = filled(
        page, starts_at="2031-03-03T06:00", gathers_at="2031-03-02T06:00", hours="5.5",
        grade="S250GD", thickness_nm="1.5", strip_length="2500",
    )  # fmt: skip
    answer = page.post(PAGE, typed, follow=True)
    shop.job.refresh_from_db()
    assert "Job 24-1187 is changed." in words(answer)
    assert (shop.job.hours, shop.job.grade) == (5.5, "S250GD")
    assert (shop.job.thickness_nm, shop.job.length_nm) == (1_500_000, 2_500 * M)
    assert timezone.localtime(shop.job.starts_at).strftime("%Y-%m-%d %H:%M") == "2031-03-03 06:00"
    after = Change.objects.get(subject="Job").after
    assert set(after) == {"starts_at", "gathers_at", "hours", "grade", "thickness_nm", "length_nm"}


def test_a_strip_rewritten_in_inches_is_read_in_inches(page: Client, shop: KitShop) -> None:
    page.post(PAGE, filled(page, unit="in", thickness_nm=".060", width_nm="4.5"))
    shop.job.refresh_from_db()
    # 0.060 × 25.4 = 1.524 mm; 4.5 × 25.4 = 114.3 mm
    assert (shop.job.unit, shop.job.thickness_nm, shop.job.width_nm) == (
        "in",
        1_524_000,
        114_300_000,
    )


def test_without_a_time_its_kit_is_gathered_a_day_before(page: Client, shop: KitShop) -> None:
    page.post(PAGE, filled(page, gathers_at=""))
    shop.job.refresh_from_db()
    assert shop.job.starts_at - shop.job.gathers_at == timedelta(days=1)


@pytest.mark.parametrize(
    ("typed", "code"),
    [
        ({"strip_length": "long"}, "not_a_length"),
        ({"thickness_nm": "40"}, "improbable_value"),
        ({"hours": "1500"}, "absurd_hours"),
        ({"gathers_at": "2099-01-01T06:00"}, "gathers_after_start"),
        ({"starts_at": "soon"}, "invalid"),
    ],
)
def test_what_cannot_be_is_said_in_its_place_and_all_that_was_typed_stays(
    page: Client, shop: KitShop, typed: dict[str, str], code: str
) -> None:
    before = Job.objects.filter(pk=shop.job.pk).values().get()
    answer = page.post(PAGE, filled(page, **typed, coating="AZ150"))
    [name] = typed
    codes = [error.code for error in answer.context["form"].errors.as_data()[name]]
    assert (answer.status_code, codes) == (400, [code])
    assert f'value="{typed[name]}"' in words(answer)
    assert 'value="AZ150"' in words(answer)
    assert Job.objects.filter(pk=shop.job.pk).values().get() == before


def test_the_mill_may_change_while_no_kit_is_open(page: Client, shop: KitShop) -> None:
    other = shop.world.mill("M2", stations=4)
    page.post(PAGE, filled(page, mill=other.pk))
    shop.job.refresh_from_db()
    assert shop.job.mill == other


def test_set_variant_and_mill_stay_while_its_kit_is_open(
    page: Client, shop: KitShop, crew: Person
) -> None:
    kit = shop.open(crew)
    answer = page.get(PAGE)
    assert f"Kit {kit.number} is open for it" in words(answer)
    assert not {"tool_set", "variant", "mill"} & set(answer.context["form"].fields)
    answer = page.post(PAGE, filled(page, hours="4"))
    shop.job.refresh_from_db()
    assert (answer.url, shop.job.hours) == (f"/kits/{kit.number}/", 4.0)


def test_a_mill_typed_before_a_kit_was_opened_is_refused_in_place(
    page: Client, shop: KitShop, crew: Person
) -> None:
    typed = filled(page, mill=shop.world.mill("M2", stations=4).pk, hours="4")
    shop.open(crew)
    answer = page.post(PAGE, typed)
    shop.job.refresh_from_db()
    assert [e.code for e in answer.context["form"].errors.as_data()["mill"]] == ["job_has_kit"]
    assert (shop.job.mill, shop.job.hours) == (shop.mill, 8.0)


def ran(piece: Piece, metres: int) -> None:
    """Run before anything was counted, as an import brings it."""
    then = timezone.now() - timedelta(days=30)
    LengthEntry.objects.create(
        piece=piece, length_nm=metres * M, happened_at=then, received_at=then, source="import"
    )
    Piece.objects.filter(pk=piece.pk).update(length_run_nm=metres * M)


def recut_after(shop: KitShop, roll: Piece, metres: int) -> None:
    """Another of the same drawing, out of use now, that was recut after so long a run."""
    other = shop.world.piece(roll.drawing, shop.shelf, condition="cracked")
    ran(other, metres)
    Work.objects.create(
        piece=other, kind="regrind", done_on=timezone.localdate() - timedelta(days=9),
        received_at=shop.world.at, source="import",
    )  # fmt: skip


def test_a_shorter_run_settles_a_piece_that_may_not_last(
    page: Client, shop: KitShop, crew: Person
) -> None:
    """Pieces alike ran 15 and 25 km before a regrind: usual are 20 km. This one ran 15 km; 10 km
    more is too much, 5 km is not."""
    roll = shop.pieces[(1, "top", 1)]
    for metres in (15_000, 25_000):
        recut_after(shop, roll, metres)
    ran(roll, 15_000)
    kit = shop.open(crew)
    at = f"/kits/{kit.number}/"
    assert problems(page.get(at)) == ["may_not_last"]
    assert f'href="{PAGE}#id_strip_length">Run less' in words(page.get(at))
    page.post(PAGE, filled(page, strip_length="5000 m"))
    assert problems(page.get(at)) == []


# Calling off.


def test_a_job_is_called_off_with_a_reason_and_its_kit_closes(
    page: Client, shop: KitShop, crew: Person
) -> None:
    kit = shop.open(crew)
    answer = page.post(CANCEL, {"reason": "order moved to March"}, follow=True)
    shop.job.refresh_from_db()
    kit.refresh_from_db()
    assert "Job 24-1187 is called off." in words(answer)
    assert (shop.job.state, kit.state) == (JobState.CANCELLED, KitState.CLOSED)
    assert kit.short_reason == "order moved to March"


def test_without_a_reason_it_is_not_called_off(page: Client, shop: KitShop, crew: Person) -> None:
    kit = shop.open(crew)
    answer = page.post(CANCEL, {"reason": " "})
    shop.job.refresh_from_db()
    kit.refresh_from_db()
    codes = [error.code for error in answer.context["cancel_form"].errors.as_data()["reason"]]
    assert (answer.status_code, codes) == (400, ["empty_text"])
    assert (shop.job.state, kit.state) == (JobState.PLANNED, KitState.GATHERING)


@pytest.mark.parametrize("state", [JobState.DONE, JobState.CANCELLED])
def test_a_job_that_is_over_stays_as_it_is(page: Client, shop: KitShop, state: str) -> None:
    typed = filled(page, hours="4")
    Job.objects.filter(pk=shop.job.pk).update(state=state)
    answers = page.get(PAGE), page.post(PAGE, typed), page.post(CANCEL, {"reason": "off"})
    assert [(each.status_code, problems(each)) for each in answers] == [(409, ["job_is_over"])] * 3
    shop.job.refresh_from_db()
    assert (shop.job.hours, shop.job.state) == (8.0, state)


# Ways in.


def test_planners_find_it_from_the_list_and_from_the_kit(
    page: Client, log_in: LogIn, shop: KitShop, crew: Person
) -> None:
    assert f'href="{PAGE}"' in words(page.get("/kits/"))
    kit = shop.open(crew)
    both = ("/kits/", f"/kits/{kit.number}/")
    assert all(f'href="{PAGE}"' in words(page.get(at)) for at in both)
    hand = log_in(crew)
    assert not any(PAGE in words(hand.get(at)) for at in both)


def test_a_number_with_a_stroke_has_its_page_too(page: Client, shop: KitShop) -> None:
    Job.objects.filter(pk=shop.job.pk).update(number="24/1187 B")
    answer = page.get("/kits/jobs/24/1187%20B/edit/")
    assert answer.status_code == 200
    assert 'href="/kits/jobs/24/1187%20B/edit/"' in words(page.get("/kits/"))


def test_an_unknown_job_is_a_sentence(page: Client) -> None:
    answer = page.get("/kits/jobs/none/edit/")
    assert (answer.status_code, problems(answer)) == (404, ["unknown_code"])


@pytest.mark.parametrize("role", ["viewer", "attendant", "crew"])
def test_only_planners_change_or_call_off(
    log_in: LogIn, cast: dict[str, Person], shop: KitShop, role: str
) -> None:
    client = log_in(cast[role])
    assert client.get(PAGE).status_code == 403
    assert client.post(PAGE, {"hours": "1"}).status_code == 403
    assert client.post(CANCEL, {"reason": "off"}).status_code == 403
    shop.job.refresh_from_db()
    assert (shop.job.hours, shop.job.state) == (8.0, JobState.PLANNED)
