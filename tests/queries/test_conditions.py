"""The nine states: each comes when something happens, and goes when it is put right."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from tests.rolling import Rolling
from tests.world import MM
from tooling.models import LengthEntry, Owner, Work, WorkKind
from tooling.models.pieces import DrawingRevision
from tooling.queries.kits import kit_page
from tooling.services import kits, lengths_run, readings, stock
from tooling.services.movements import move_pieces

pytestmark = pytest.mark.django_db
TOP = (1, "top", 1)
KM = 10**12


@pytest.fixture(scope="module")
def standing_shop(standing_world):
    return Rolling(standing_world)


@pytest.fixture
def shop(standing, standing_shop):
    return standing.copy(standing_shop)


@pytest.fixture
def kit(shop, crew):
    return shop.kit(crew, length_nm=10 * KM)


def view(kit, at, spot=TOP):
    page = kit_page(kit.number, at=at)
    return next(v for v in page.positions if (v.pass_number, v.shaft, v.order) == spot)


def state(kit, at, spot=TOP):
    return view(kit, at, spot).state.value


def put(shop, by, piece, place):
    move_pieces(by=by, at=shop.world.at, pieces=[piece], to=place)


def test_a_piece_at_home_is_to_fetch_from_there(shop, kit, at):
    seen = view(kit, at)
    assert (seen.state, seen.place_code) == ("to_fetch", shop.rack.code)
    assert "Rack" in seen.reason


def test_staged_is_here_and_back_home_to_fetch(shop, kit, crew, at):
    kits.set_gathering_place(by=crew, at=at, kit=kit, place=shop.cart)
    put(shop, crew, shop.pieces[TOP], shop.cart)
    assert state(kit, at) == "here"
    put(shop, crew, shop.pieces[TOP], shop.rack)
    assert state(kit, at) == "to_fetch"


def test_on_its_mill_is_here(shop, kit, crew, at):
    station = shop.mill.stations.get(number=1).place
    put(shop, crew, shop.pieces[TOP], station)
    assert state(kit, at) == "here"


@pytest.mark.parametrize("kind", ["lost", "scrap", "unknown"])
def test_lost_scrapped_or_never_placed_is_missing_until_found(shop, kit, crew, at, kind):
    put(shop, crew, shop.pieces[TOP], shop.world.place("Gone", kind=kind))
    assert state(kit, at) == "missing"
    put(shop, crew, shop.pieces[TOP], shop.rack)
    assert state(kit, at) == "to_fetch"


@pytest.mark.parametrize("kind", ["grinder", "customer", "person", "sister"])
def test_away_is_out_also_on_a_plate_that_stands_there(shop, kit, crew, at, kind):
    away = shop.world.place("Miller & Sons", kind=kind)
    plate = shop.world.place("Plate", kind="plate", parent=away)
    put(shop, crew, shop.pieces[TOP], plate)
    seen = view(kit, at)
    assert (seen.state, "Miller & Sons" in seen.reason) == ("out", True)
    put(shop, crew, shop.pieces[TOP], shop.rack)
    assert state(kit, at) == "to_fetch"


@pytest.mark.parametrize(
    ("day", "in_time", "said"),
    [
        (25, True, "due back 2026-11-25, before this kit is gathered (2026-11-26 01:00)."),
        (26, False, "due back 2026-11-26, the day this kit is gathered (2026-11-26 01:00)."),
        (27, False, "due back 2026-11-27, after this kit is gathered (2026-11-26 01:00)."),
        (None, None, "nobody said when it is back."),
    ],
)
def test_out_says_when_it_is_back_and_whether_in_time(shop, kit, crew, at, day, in_time, said):
    grinder = shop.world.place("Grinder West", kind="grinder")
    due = date(2026, 11, day) if day else None
    move_pieces(by=crew, at=at, pieces=[shop.pieces[TOP]], to=grinder, due_on=due)
    seen = view(kit, at)
    assert seen.reason == f"At the grinder (Grinder West) since 2026-11-25; {said}"
    assert seen.back_in_time is in_time
    assert (seen.due_back.date() if seen.due_back else None) == due


def test_out_and_not_back_on_its_day_is_overdue(shop, kit, crew, at):
    pat = shop.world.place("Pat", kind="person")
    move_pieces(by=crew, at=at, pieces=[shop.pieces[TOP]], to=pat, due_on=at.date())
    seen = view(kit, at + timedelta(days=1))
    assert seen.reason.endswith("was due back 2026-11-25 and is overdue.")
    assert seen.back_in_time is False


def measure(by, at, piece, mm, dimension="drive_diameter"):
    size = round(mm * MM)
    readings.record_reading(
        by=by, at=at, piece=piece, dimension=dimension, value_nm=size, unit="mm", sure=True
    )


def test_measured_below_the_least_allowed_is_worn_and_a_better_reading_mends_it(
    shop, kit, crew, at
):
    piece = shop.pieces[TOP]
    measure(crew, at, piece, 139.999)
    seen = view(kit, at)
    assert (seen.state, "139.999" in seen.reason, "140" in seen.reason) == ("worn", True, True)
    measure(crew, at + timedelta(minutes=1), piece, 140.000)
    assert state(kit, at) == "to_fetch"


def test_worn_shows_even_on_the_cart(shop, kit, crew, at):
    shop.stage(crew, kit)
    measure(crew, at, shop.pieces[TOP], 139)
    assert state(kit, at) == "worn"
    assert kit_page(kit.number, at=at).counts.here == 3


@pytest.mark.parametrize("condition", ["chipped", "cracked"])
def test_chipped_and_cracked_are_worn(shop, kit, at, condition):
    shop.pieces[TOP].condition = condition
    shop.pieces[TOP].save()
    assert state(kit, at) == "worn"


def test_on_hold_is_held_with_its_reason(shop, kit, at):
    shop.pieces[TOP].condition = "hold"
    shop.pieces[TOP].hold_reason = "dropped, to be checked"
    shop.pieces[TOP].save()
    seen = view(kit, at)
    assert (seen.state, "dropped, to be checked" in seen.reason) == ("held", True)


def test_a_customers_piece_in_anothers_job_is_held_until_consent(shop, kit, at):
    owner = Owner.objects.create(code="QUIL", name="Quill")
    shop.pieces[TOP].owner = owner
    shop.pieces[TOP].save()
    assert state(kit, at) == "held"
    owner.consent_reference = "letter of May"
    owner.save()
    assert state(kit, at) == "to_fetch"


@pytest.mark.parametrize(("says", "expected"), [("as_is", "to_fetch"), ("rework", "held")])
def test_what_a_new_revision_says_of_older_pieces_holds(shop, kit, at, says, expected):
    drawing = shop.drawings[TOP]
    drawing.revisions.update(is_current=False)
    DrawingRevision.objects.create(drawing=drawing, revision="B", old_pieces=says)
    assert state(kit, at) == expected


def test_a_bore_smaller_than_the_shaft_does_not_fit(shop, kit, at):
    shaft = shop.mill.stations.get(number=1).shafts.get(which="top")
    shaft.diameter_nm = 61 * MM
    shaft.save()
    seen = view(kit, at)
    assert (seen.state, "60" in seen.reason, "61" in seen.reason) == ("does_not_fit", True, True)
    assert state(kit, at, (1, "bottom", 1)) == "to_fetch"


def test_a_key_wider_than_the_keyway_does_not_fit(shop, kit, at):
    shaft = shop.mill.stations.get(number=1).shafts.get(which="top")
    shaft.key_width_nm = 20 * MM
    shaft.save()
    assert state(kit, at) == "does_not_fit"


def another_job(shop, by, **fields):
    return shop.kit(by, number="J2", **fields)


def test_staged_for_another_kit_is_taken_with_the_day_it_is_back(shop, kit, crew, at):
    other = another_job(shop, crew, in_hours=400)
    kits.set_gathering_place(by=crew, at=at, kit=other, place=shop.cart)
    put(shop, crew, shop.pieces[TOP], shop.cart)
    seen = view(kit, at)
    assert (seen.state, seen.other_kit) == ("taken", other.number)
    assert seen.due_back == other.job.starts_at + timedelta(hours=other.job.hours)
    put(shop, crew, shop.pieces[TOP], shop.rack)
    assert state(kit, at) == "to_fetch"


def test_of_two_jobs_at_the_same_time_the_one_that_gathers_first_has_it(shop, kit, crew, at):
    later = another_job(shop, crew, in_hours=25)
    assert (state(kit, at), state(later, at)) == ("to_fetch", "taken")
    later.job.gathers_at = kit.job.gathers_at - timedelta(hours=1)
    later.job.save()
    assert (state(kit, at), state(later, at)) == ("taken", "to_fetch")


def test_jobs_that_do_not_overlap_take_nothing_from_each_other(shop, kit, crew, at):
    later = another_job(shop, crew, in_hours=400)
    assert (state(kit, at), state(later, at)) == ("to_fetch", "to_fetch")


def test_windows_that_only_touch_do_not_overlap(shop, kit, crew, at):
    ends = kit.job.starts_at + timedelta(hours=kit.job.hours)
    later = another_job(shop, crew, in_hours=100)
    later.job.gathers_at = ends
    later.job.save()
    assert state(later, at) == "to_fetch"
    later.job.gathers_at = ends - timedelta(seconds=1)
    later.job.save()
    assert state(later, at) == "taken"


def run(by, at, piece, km):
    lengths_run.record_length(by=by, at=at, piece=piece, length_nm=round(km * KM))


def regrind(piece, day, *, hours):
    """A past regrind, written as an import would."""
    Work.objects.create(
        piece=piece, kind=WorkKind.REGRIND, done_on=day, received_at=hours, source="import"
    )


def ran_before(piece, km, day):
    then = datetime.combine(day, datetime.min.time(), tzinfo=UTC) + timedelta(hours=12)
    LengthEntry.objects.create(
        piece=piece, length_nm=km * KM, happened_at=then, received_at=then, source="import"
    )
    piece.length_run_nm += km * KM
    piece.save(update_fields=["length_run_nm"])


@pytest.fixture
def usual_is_20_km(shop, at):
    """Two pieces alike ran 15 and 25 km before their regrinds: 40 km over 2 regrinds."""
    for km in (15, 25):
        other = shop.world.piece(shop.drawings[TOP], shop.rack, condition="cracked")
        ran_before(other, km, date(2026, 5, 1))
        regrind(other, date(2026, 6, 1), hours=at)


@pytest.mark.parametrize(("ran", "expected"), [(10, "to_fetch"), (11, "may_not_last")])
def test_beyond_the_usual_length_between_regrinds_it_may_not_last(
    shop, kit, at, usual_is_20_km, ran, expected
):
    """The job adds 10 km: 10 + 10 = 20 is usual, 11 + 10 = 21 is more."""
    ran_before(shop.pieces[TOP], ran, date(2026, 11, 1))
    assert state(kit, at) == expected


def test_may_not_last_says_what_to_do_and_no_percentage(shop, kit, at, usual_is_20_km):
    ran_before(shop.pieces[TOP], 15, date(2026, 11, 1))
    reason = view(kit, at).reason
    assert "Measure before this run" in reason
    assert "20000 m" in reason
    assert "%" not in reason


def test_only_what_ran_since_its_own_regrind_counts(shop, kit, at, usual_is_20_km):
    piece = shop.pieces[TOP]
    ran_before(piece, 30, date(2026, 11, 1))
    assert state(kit, at) == "may_not_last"
    regrind(piece, date(2026, 11, 2), hours=at)
    assert state(kit, at) == "to_fetch"


def test_measuring_after_its_last_run_settles_it_and_another_run_raises_it_again(
    shop, kit, crew, at, usual_is_20_km
):
    piece = shop.pieces[TOP]
    ran_before(piece, 15, date(2026, 11, 1))
    measure(crew, at, piece, 150)
    assert state(kit, at) == "to_fetch"
    run(crew, at + timedelta(hours=1), piece, 1)
    assert state(kit, at) == "may_not_last"


def test_one_regrind_alone_says_nothing(shop, kit, at):
    other = shop.world.piece(shop.drawings[TOP], shop.rack, condition="cracked")
    ran_before(other, 1, date(2026, 5, 1))
    regrind(other, date(2026, 6, 1), hours=at)
    ran_before(shop.pieces[TOP], 50, date(2026, 11, 1))
    assert state(kit, at) == "to_fetch"


def test_trouble_is_offered_a_free_fit_piece_each_once(shop, kit, at):
    spot = (1, "bottom", 1)
    shop.drawings[spot].positions.update(drawing=shop.drawings[TOP])
    kit.positions.filter(pass_number=1).update(drawing=shop.drawings[TOP], piece=None)
    spare = shop.world.piece(shop.drawings[TOP], shop.rack, mark="spare")
    shop.pieces[TOP].condition = "cracked"
    shop.pieces[TOP].save()
    page = kit_page(kit.number, at=at)
    offers = [v.alternative.code for v in page.positions if v.alternative]
    assert offers == [spare.code]


def test_no_piece_is_offered_that_is_worn_held_away_or_claimed(shop, kit, crew, at):
    drawing = shop.drawings[TOP]
    away = shop.world.place("Grinder", kind="grinder")
    for place, fields in (
        (shop.rack, {"condition": "hold"}),
        (shop.rack, {"condition": "chipped"}),
        (shop.rack, {"now_drive_diameter_nm": 100 * MM}),
        (shop.rack, {"now_bore_nm": 59 * MM}),
        (shop.rack, {"owner": Owner.objects.create(code="QUIL", name="Quill")}),
        (away, {}),
    ):
        shop.world.piece(drawing, place, **fields)
    shop.pieces[TOP].condition = "cracked"
    shop.pieces[TOP].save()
    assert view(kit, at).alternative is None


def with_spacers(shop, count, wanted=2):
    spacer = shop.world.drawing("SP", kind="spacer", face_width_nm=10 * MM)
    set_pass = shop.set.passes.get(number=1)
    for order in range(2, 2 + wanted):
        set_pass.positions.create(shaft="top", order=order, drawing=spacer)
    return shop.world.stock(spacer, shop.rack, count)


def spacer_states(kit, at):
    return [v.state.value for v in kit_page(kit.number, at=at).positions if v.kind == "spacer"]


def test_a_count_is_here_as_far_as_it_lies_in_the_gathering_place(shop, crew, attendant, at):
    line = with_spacers(shop, 5)
    kit = shop.kit(crew)
    kits.set_gathering_place(by=crew, at=at, kit=kit, place=shop.cart)
    assert spacer_states(kit, at) == ["to_fetch", "to_fetch"]
    stock.move(by=attendant, at=at, line=line, quantity=1, to=shop.cart)
    assert spacer_states(kit, at) == ["here", "to_fetch"]
    line.refresh_from_db()
    stock.scrap(by=attendant, at=at, line=line, quantity=4)
    assert spacer_states(kit, at) == ["here", "missing"]
    stock.make(by=attendant, at=at, line=line, quantity=1)
    assert spacer_states(kit, at) == ["here", "to_fetch"]


def test_what_is_scrapped_from_the_cart_is_here_no_longer(shop, crew, attendant, at):
    line = with_spacers(shop, 2)
    kit = shop.kit(crew)
    kits.set_gathering_place(by=crew, at=at, kit=kit, place=shop.cart)
    moved = stock.move(by=attendant, at=at, line=line, quantity=2, to=shop.cart)
    assert spacer_states(kit, at) == ["here", "here"]
    assert moved.stock_to is not None
    stock.scrap(by=attendant, at=at, line=moved.stock_to, quantity=1)
    assert spacer_states(kit, at) == ["here", "missing"]


def test_of_a_count_too_small_for_two_the_job_that_gathers_first_has_it(shop, crew, at):
    with_spacers(shop, 3)
    first = shop.kit(crew)
    second = shop.kit(crew, number="J2", in_hours=25)
    assert spacer_states(first, at) == ["to_fetch", "to_fetch"]
    assert spacer_states(second, at) == ["to_fetch", "taken"]


def test_a_copy_from_paper_is_to_fetch_and_not_yet_seen(world, crew, at):
    home = world.place("Cart 7", kind="cart")
    tool_set = world.tool_set("P", {(1, "top", 1): world.drawing("P1")})
    world.copy(tool_set, "A", home=home, from_paper_count=48)
    job = world.job(tool_set, world.mill("MP"))
    kit = kits.assemble(by=crew, at=at, kit=kits.open_kit(by=crew, at=at, job=job))
    page = kit_page(kit.number, at=at)
    seen = page.positions[0]
    assert (seen.state, seen.not_yet_seen, seen.place) == ("to_fetch", True, "Cart 7")
    assert (page.paper_count, page.not_yet_seen) == (48, 1)
    assert "1 not yet seen" in page.header


def test_a_piece_that_nobody_saw_is_so_named(shop, kit, at):
    shop.pieces[TOP].seen_at = None
    shop.pieces[TOP].save()
    seen = view(kit, at)
    assert (seen.state, seen.not_yet_seen) == ("to_fetch", True)


def test_conflicts_show_on_both_kits_with_the_day_they_are_due_back(shop, kit, crew, at):
    later = another_job(shop, crew, in_hours=25)
    first, second = (kit_page(k.number, at=at).conflicts for k in (kit, later))
    assert [c.kit for c in first] == [later.number]
    assert [c.kit for c in second] == [kit.number]
    assert {c.gathers_first for c in (*first, *second)} == {kit.job.number}
    assert (first[0].is_ours_first, second[0].is_ours_first) == (True, False)
    assert second[0].due_back == kit.job.starts_at + timedelta(hours=8)
    assert len(second[0].pieces) == 4
    kits.close(by=crew, at=at, kit=later, reason="called off")
    assert kit_page(kit.number, at=at).conflicts == ()


def test_a_closed_kit_competes_with_nobody(shop, kit, crew, at):
    shop.stage(crew, kit)
    later = another_job(shop, crew, in_hours=25)
    assert state(later, at) == "taken"
    kits.close(by=crew, at=at, kit=kit)
    put(shop, crew, shop.pieces[TOP], shop.rack)
    assert state(later, at) == "to_fetch"


def test_what_lies_in_the_kits_own_cart_is_neither_offered_nor_fetched_again(
    shop, crew, attendant, at
):
    line = with_spacers(shop, 1)
    kit = shop.kit(crew)
    kits.set_gathering_place(by=crew, at=at, kit=kit, place=shop.cart)
    stock.move(by=attendant, at=at, line=line, quantity=1, to=shop.cart)
    assert spacer_states(kit, at) == ["here", "missing"]
    assert [v.alternative for v in kit_page(kit.number, at=at).positions] == [None] * 6
    kits.assemble(by=crew, at=at, kit=kit)
    assert spacer_states(kit, at) == ["here", "missing"]
    elsewhere = shop.world.stock(line.drawing, shop.world.place("Rack 2"), 4)
    assert spacer_states(kit, at) == ["here", "to_fetch"]
    assert view(kit, at, (1, "top", 3)).stock == elsewhere.code
