"""Opening, gathering, assembling, choosing, closing."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import IntegrityError, connection, transaction

from tests.rolling import Rolling
from tests.world import MM
from tooling.errors import NotAllowed, ToolingError
from tooling.models import (
    Change,
    JobState,
    Kit,
    KitPosition,
    KitState,
    Owner,
    SetPosition,
    StockLine,
)
from tooling.models.sets import SetVariant
from tooling.queries.kits import kit_page
from tooling.services import kits
from tooling.services.movements import move_pieces

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def standing_shop(standing_world):
    """One mill, a set of two passes with a pair of rolls each, its copy A on a rack."""
    return Rolling(standing_world)


@pytest.fixture
def shop(standing, standing_shop):
    return standing.copy(standing_shop)


def claimed(kit):
    rows = kit.positions.order_by("station_number", "shaft")
    return {
        (row.pass_number, row.shaft, row.order): row.piece.code if row.piece else ""
        for row in rows.select_related("piece")
    }


def the_set_as_allotted(shop):
    return {spot: piece.code for spot, piece in shop.pieces.items()}


def test_a_kit_has_a_position_for_each_of_the_set_at_its_charted_station(shop, crew, at):
    kit = kits.open_kit(by=crew, at=at, job=shop.world.job(shop.set, shop.mill))
    spots = list(kit.positions.values_list("pass_number", "station_number", "shaft"))
    assert sorted(spots) == [(1, 1, "bottom"), (1, 1, "top"), (2, 2, "bottom"), (2, 2, "top")]
    assert kit.number[0] == "K"


def test_a_variant_changes_its_own_positions_only(shop, crew, at):
    variant = SetVariant.objects.create(tool_set=shop.set, name="wide")
    wide = shop.world.drawing("WIDE")
    SetPosition.objects.create(
        set_pass=shop.set.passes.get(number=2), shaft="top", order=1, drawing=wide, variant=variant
    )
    job = shop.world.job(shop.set, shop.mill, variant=variant)
    rows = kits.open_kit(by=crew, at=at, job=job).positions
    assert rows.count() == 4
    assert rows.get(pass_number=2, shaft="top").drawing == wide
    assert rows.get(pass_number=1, shaft="top").drawing == shop.drawings[1, "top", 1]


def test_passes_without_a_chart_stand_one_after_another(shop, crew, at):
    shop.set.charts.all().delete()
    kit = kits.open_kit(by=crew, at=at, job=shop.world.job(shop.set, shop.mill))
    assert set(kit.positions.values_list("pass_number", "station_number")) == {(1, 1), (2, 2)}


def test_one_open_kit_for_a_job(shop, crew, at):
    kit = shop.kit(crew)
    with pytest.raises(ToolingError) as caught:
        kits.open_kit(by=crew, at=at, job=kit.job)
    assert caught.value.code == "kit_is_open"
    assert kit.number in caught.value.message


def test_a_set_without_positions_has_no_kit(world, crew, at):
    job = world.job(world.tool_set("EMPTY", {}), world.mill("M9"))
    with pytest.raises(ToolingError) as caught:
        kits.open_kit(by=crew, at=at, job=job)
    assert caught.value.code == "set_has_no_positions"
    assert not Kit.objects.exists()


def test_a_viewer_gathers_nothing(shop, viewer, crew, at):
    kit = shop.kit(crew)
    for call in (
        lambda: kits.open_kit(by=viewer, at=at, job=kit.job),
        lambda: kits.assemble(by=viewer, at=at, kit=kit),
        lambda: kits.set_gathering_place(by=viewer, at=at, kit=kit, place=shop.cart),
        lambda: kits.close(by=viewer, at=at, kit=kit, reason="x"),
        lambda: kits.release(by=viewer, at=at, kit=kit, position=kit.positions.first()),
    ):
        with pytest.raises(NotAllowed):
            call()


def test_assembling_takes_the_copy_whole(shop, crew):
    assert claimed(shop.kit(crew)) == the_set_as_allotted(shop)


def test_assembling_again_changes_nothing(shop, crew, at):
    kit = shop.kit(crew)
    changes, version, rows = Change.objects.count(), kit.version, claimed(kit)
    again = kits.assemble(by=crew, at=at + timedelta(hours=1), kit=kit)
    assert (again.version, claimed(again)) == (version, rows)
    assert Change.objects.count() == changes


def test_the_copy_of_which_most_can_be_used_is_taken(shop, crew):
    for piece in list(shop.pieces.values())[:2]:
        piece.condition = "cracked"
        piece.save()
    other = {spot: shop.world.piece(d, shop.rack) for spot, d in shop.drawings.items()}
    shop.world.copy(shop.set, "B", other)
    kit = shop.kit(crew)
    assert kit.copy.letter == "B"
    assert claimed(kit) == {spot: piece.code for spot, piece in other.items()}


def test_another_copy_gives_up_what_is_not_staged(shop, crew, at):
    other = {spot: shop.world.piece(d, shop.rack) for spot, d in shop.drawings.items()}
    copy = shop.world.copy(shop.set, "B", other)
    kit = shop.kit(crew)
    kits.assemble(by=crew, at=at, kit=kit, copy=shop.copy)
    assert claimed(kit) == the_set_as_allotted(shop)
    kits.assemble(by=crew, at=at, kit=kit, copy=copy)
    assert claimed(kit) == {spot: piece.code for spot, piece in other.items()}


def test_a_copy_of_another_set_is_refused(shop, crew, at):
    kit = shop.kit(crew)
    stranger = shop.world.copy(shop.world.tool_set("S9", {}), "A")
    with pytest.raises(ToolingError) as caught:
        kits.assemble(by=crew, at=at, kit=kit, copy=stranger)
    assert caught.value.code == "other_set"


@pytest.mark.parametrize("condition", ["chipped", "cracked", "hold"])
def test_what_cannot_be_used_is_replaced_by_a_free_piece_and_flagged(shop, crew, condition):
    spot = (1, "top", 1)
    spare = shop.world.piece(shop.drawings[spot], shop.rack)
    shop.pieces[spot].condition = condition
    shop.pieces[spot].save()
    kit = shop.kit(crew)
    row = kit.positions.get(pass_number=1, shaft="top")
    assert (row.piece, row.is_substitute) == (spare, True)
    assert shop.pieces[spot].code in row.substitute_reason


def test_without_a_substitute_the_copys_own_piece_stays_claimed(shop, crew):
    spot = (1, "top", 1)
    shop.pieces[spot].condition = "cracked"
    shop.pieces[spot].save()
    row = shop.kit(crew).positions.get(pass_number=1, shaft="top")
    assert (row.piece, row.is_substitute) == (shop.pieces[spot], False)


def test_a_substitute_keeps_the_ratio_and_the_steps(shop, crew):
    """Top of pass 1 is drawn 151 mm with step 1 mm to pass 2; 150.9 deviates least."""
    spot = (1, "top", 1)
    for mm in (150.0, 150.9, 152.0):
        shop.world.piece(
            shop.drawings[spot], shop.rack, mark=str(mm), now_drive_diameter_nm=round(mm * MM)
        )
    shop.pieces[spot].condition = "cracked"
    shop.pieces[spot].save()
    assert shop.kit(crew).positions.get(pass_number=1, shaft="top").piece.mark == "150.9"


def test_a_spare_nobody_counts_on_goes_before_one_of_another_set(shop, crew):
    spot = (1, "top", 1)
    robbed = shop.world.piece(shop.drawings[spot], shop.rack, mark="robbed")
    other = shop.world.tool_set("OTHER", {spot: shop.drawings[spot]})
    shop.world.copy(other, "A", {spot: robbed})
    shop.world.piece(shop.drawings[spot], shop.rack, mark="spare")
    shop.pieces[spot].condition = "cracked"
    shop.pieces[spot].save()
    assert shop.kit(crew).positions.get(pass_number=1, shaft="top").piece.mark == "spare"


@pytest.mark.parametrize(
    ("is_jobs_customer", "consent", "may"),
    [(True, "", True), (False, "", False), (False, "letter of May", True)],
)
def test_a_customers_piece_goes_into_that_customers_jobs_unless_consent(
    shop, crew, is_jobs_customer, consent, may
):
    owner = Owner.objects.create(code="QUIL", name="Quill", consent_reference=consent)
    spot = (1, "top", 1)
    shop.pieces[spot].owner = owner
    shop.pieces[spot].save()
    kit = shop.kit(crew, customer=owner if is_jobs_customer else None)
    assert (claimed(kit)[spot] == shop.pieces[spot].code) is may


def test_pooled_spacers_come_by_count_from_the_nearest_bin(shop, crew, at):
    spacer = shop.world.drawing("SP", kind="spacer", face_width_nm=10 * MM)
    for order in (2, 3):
        SetPosition.objects.create(
            set_pass=shop.set.passes.get(number=1), shaft="top", order=order, drawing=spacer
        )
    far = shop.world.stock(spacer, shop.world.place("Far", walking_order=9), 5)
    near = shop.world.stock(spacer, shop.world.place("Near", walking_order=2), 2)
    shop.world.stock(spacer, shop.world.place("At the door", walking_order=1), 1)
    kit = shop.kit(crew)
    rows = [v for v in kit_page(kit.number, at=at).positions if v.drawing == "SP"]
    assert [row.stock for row in rows] == [near.code, near.code]
    assert not any(row.is_substitute for row in rows)
    StockLine.objects.filter(pk=near.pk).update(count=0)
    rows = [v for v in kit_page(kit.number, at=at).positions if v.drawing == "SP"]
    assert [row.stock for row in rows] == [far.code, far.code]


def test_a_bin_with_too_few_is_claimed_so_that_the_page_says_what_lacks(shop, crew, at):
    spacer = shop.world.drawing("SP", kind="spacer")
    for order in (2, 3):
        SetPosition.objects.create(
            set_pass=shop.set.passes.get(number=1), shaft="top", order=order, drawing=spacer
        )
    shop.world.stock(spacer, shop.rack, 1)
    kit = shop.kit(crew)
    page = kit_page(kit.number, at=at)
    assert [p.state for p in page.positions if p.drawing == "SP"] == ["to_fetch", "missing"]


def test_a_gathering_place_takes_what_lies_there_at_once(shop, crew, at):
    kit = shop.kit(crew)
    move_pieces(by=crew, at=at, pieces=[shop.pieces[1, "top", 1]], to=shop.cart)
    kits.set_gathering_place(by=crew, at=at, kit=kit, place=shop.cart)
    assert list(kit.positions.filter(is_staged=True).values_list("shaft", flat=True)) == ["top"]
    kits.set_gathering_place(by=crew, at=at, kit=kit, place=None)
    assert not kit.positions.filter(is_staged=True).exists()


def test_one_open_kit_to_a_gathering_place(shop, crew, at):
    kit = shop.kit(crew)
    kits.set_gathering_place(by=crew, at=at, kit=kit, place=shop.cart)
    other = shop.kit(crew, number="J2", in_hours=200)
    with pytest.raises(ToolingError) as caught:
        kits.set_gathering_place(by=crew, at=at, kit=other, place=shop.cart)
    assert (caught.value.code, kit.number in caught.value.message) == ("place_taken", True)


@pytest.mark.parametrize("kind", ["grinder", "customer", "person", "lost", "scrap", "unknown"])
def test_no_kit_is_gathered_where_nothing_can_be_fetched(shop, crew, at, kind):
    kit = shop.kit(crew)
    with pytest.raises(ToolingError) as caught:
        kits.set_gathering_place(
            by=crew, at=at, kit=kit, place=shop.world.place("There", kind=kind)
        )
    assert caught.value.code == "not_a_gathering_place"


def test_pegs_are_given_out_one_for_each_position(shop, crew, at):
    board = shop.world.place("Board")
    pegs = [
        shop.world.place(f"Peg {n}", kind="peg", parent=board, walking_order=n) for n in range(5)
    ]
    kit = shop.kit(crew)
    kits.set_gathering_place(by=crew, at=at, kit=kit, place=board)
    rows = kit.positions.order_by("station_number", "shaft", "order")
    assert [row.peg for row in rows] == pegs[:4]


def test_a_complete_kit_closes_without_a_reason_and_frees_all(shop, crew, at):
    kit = shop.stage(crew, shop.kit(crew))
    assert kit.state == KitState.STAGED
    kits.close(by=crew, at=at, kit=kit)
    kit.refresh_from_db()
    assert (kit.state, kit.is_short, kit.closed_at) == (KitState.CLOSED, False, at)
    assert not KitPosition.objects.filter(is_open=True).exists()
    assert Change.objects.filter(subject="Kit", what="closed").count() == 1


def test_a_kit_that_was_complete_stays_so_when_its_pieces_went_home(shop, crew, at):
    kit = shop.stage(crew, shop.kit(crew))
    move_pieces(by=crew, at=at, pieces=shop.pieces.values(), to=shop.rack)
    assert kits.close(by=crew, at=at, kit=kit).is_short is False


def test_closing_short_needs_a_reason_which_is_kept(shop, crew, at):
    kit = shop.kit(crew)
    with pytest.raises(ToolingError) as caught:
        kits.close(by=crew, at=at, kit=kit, reason="  ")
    assert (caught.value.code, caught.value.values["asks"]) == ("kit_short", "reason")
    kits.close(by=crew, at=at, kit=kit, reason="the mill is down")
    kit.refresh_from_db()
    assert (kit.is_short, kit.short_reason) == (True, "the mill is down")
    assert Change.objects.get(what="closed short").reason == "the mill is down"


def test_a_short_kit_without_reason_is_refused_by_the_database(shop, crew, at):
    kit = shop.kit(crew)
    with pytest.raises(IntegrityError), transaction.atomic():
        Kit.objects.filter(pk=kit.pk).update(is_short=True, short_reason="")


def test_the_job_is_done_when_its_kit_closes_after_its_start(shop, crew, at):
    kit = shop.stage(crew, shop.kit(crew))
    kits.close(by=crew, at=kit.job.starts_at + timedelta(hours=9), kit=kit)
    kit.job.refresh_from_db()
    assert kit.job.state == JobState.DONE


def test_before_its_start_the_job_stays_planned_and_may_have_another_kit(shop, crew, at):
    kit = shop.kit(crew)
    kits.close(by=crew, at=at, kit=kit, reason="tomorrow")
    assert kits.open_kit(by=crew, at=at, job=kit.job).number != kit.number


def test_a_closed_kit_stays_as_it_was(shop, crew, at):
    kit = shop.kit(crew)
    position = kit.positions.first()
    kits.close(by=crew, at=at, kit=kit, reason="no")
    for call in (
        lambda: kits.assemble(by=crew, at=at, kit=kit),
        lambda: kits.set_gathering_place(by=crew, at=at, kit=kit, place=shop.cart),
        lambda: kits.release(by=crew, at=at, kit=kit, position=position),
        lambda: kits.choose(by=crew, at=at, kit=kit, position=position, piece=position.piece),
        lambda: kits.close(by=crew, at=at, kit=kit, reason="again"),
    ):
        with pytest.raises(ToolingError) as caught:
            call()
        assert caught.value.code == "kit_closed"


def test_closing_lets_another_kit_have_what_lies_in_its_place(shop, crew, at):
    first = shop.stage(crew, shop.kit(crew))
    second = shop.kit(crew, number="J2", in_hours=40)
    kits.close(by=crew, at=at, kit=first)
    kits.set_gathering_place(by=crew, at=at, kit=second, place=shop.cart)
    assert second.positions.filter(is_staged=True, holds_piece=True).count() == 4


def test_choosing_by_hand_flags_a_substitute_with_its_reason(shop, crew, at):
    kit = shop.kit(crew)
    position = kit.positions.get(pass_number=1, shaft="top")
    spare = shop.world.piece(shop.drawings[1, "top", 1], shop.rack)
    row = kits.choose(
        by=crew, at=at, kit=kit, position=position, piece=spare, reason="the other is dull"
    )
    assert (row.piece, row.is_substitute, row.substitute_reason) == (
        spare,
        True,
        "the other is dull",
    )
    own = kits.choose(by=crew, at=at, kit=kit, position=position, piece=shop.pieces[1, "top", 1])
    assert (own.is_substitute, own.substitute_reason) == (False, "")


def test_a_choice_ends_completeness(shop, crew, at):
    kit = shop.stage(crew, shop.kit(crew))
    spare = shop.world.piece(shop.drawings[1, "top", 1], shop.rack)
    position = kit.positions.get(pass_number=1, shaft="top")
    kits.choose(by=crew, at=at, kit=kit, position=position, piece=spare)
    kit.refresh_from_db()
    assert (kit.state, kit.complete_at) == (KitState.GATHERING, None)


def _other_drawing(shop):
    return shop.pieces[2, "top", 1], "other_drawing"


def _cracked(shop):
    drawing = shop.drawings[1, "top", 1]
    return shop.world.piece(drawing, shop.rack, condition="cracked"), "piece_not_fit"


def _worn(shop):
    drawing = shop.drawings[1, "top", 1]
    worn = shop.world.piece(drawing, shop.rack, now_drive_diameter_nm=139 * MM)
    return worn, "piece_not_fit"


def _customers(shop):
    owner = Owner.objects.create(code="QUIL", name="Quill")
    drawing = shop.drawings[1, "top", 1]
    return shop.world.piece(drawing, shop.rack, owner=owner), "owner_approval_missing"


def _lost(shop):
    drawing = shop.drawings[1, "top", 1]
    return shop.world.piece(drawing, shop.world.place("Lost", kind="lost")), "piece_gone"


def _too_small(shop):
    drawing = shop.drawings[1, "top", 1]
    return shop.world.piece(drawing, shop.rack, now_bore_nm=59 * MM), "does_not_fit"


@pytest.mark.parametrize("wrong", [_other_drawing, _cracked, _worn, _customers, _lost, _too_small])
def test_a_choice_that_cannot_be_is_refused_and_nothing_changes(shop, crew, at, wrong):
    kit = shop.kit(crew)
    before = claimed(kit)
    piece, code = wrong(shop)
    position = kit.positions.get(pass_number=1, shaft="top")
    with pytest.raises(ToolingError) as caught:
        kits.choose(by=crew, at=at, kit=kit, position=position, piece=piece)
    assert caught.value.code == code
    assert piece.code in caught.value.message
    assert claimed(kit) == before


def test_what_another_kit_staged_cannot_be_chosen(shop, crew, at):
    first = shop.stage(crew, shop.kit(crew))
    second = shop.kit(crew, number="J2", in_hours=200)
    position = second.positions.get(pass_number=1, shaft="top")
    kits.release(by=crew, at=at, kit=second, position=position)
    with pytest.raises(ToolingError) as caught:
        kits.choose(by=crew, at=at, kit=second, position=position, piece=shop.pieces[1, "top", 1])
    assert caught.value.code == "piece_taken"
    assert first.number in caught.value.message


def test_a_released_position_claims_nothing(shop, crew, at):
    kit = shop.kit(crew)
    row = kits.release(by=crew, at=at, kit=kit, position=kit.positions.first())
    assert (row.piece, row.stock_line, row.is_staged) == (None, None, False)


@pytest.mark.parametrize(
    "attack",
    [
        "UPDATE tooling_kitposition SET holds_piece = TRUE, is_staged = TRUE WHERE kit_id = {}",
        "UPDATE tooling_kitposition SET is_open = FALSE WHERE kit_id = {}",
        "UPDATE tooling_kitposition SET is_staged = FALSE WHERE kit_id = {}",
    ],
    ids=["staged twice", "held by a closed kit", "held but not staged"],
)
def test_raw_sql_cannot_stage_a_piece_twice_or_hold_it_for_nothing(shop, crew, attack):
    first = shop.stage(crew, shop.kit(crew))
    second = shop.kit(crew, number="J2", in_hours=200)
    target = second if "TRUE" in attack else first
    with pytest.raises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(attack.format(target.pk))
