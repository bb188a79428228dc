"""Assembling against brute force on small kits; staging against a plain model of it."""

from __future__ import annotations

import copy
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import permutations

import pytest
from django.db import transaction
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.examples import examples
from tests.rolling import Rolling
from tests.world import MM
from tooling.errors import ToolingError
from tooling.models import Condition, KitPosition
from tooling.services import kits
from tooling.services.movements import move_pieces
from tooling.services.rebuild import differences

pytestmark = pytest.mark.django_db
DRAWN = 150 * MM


@contextmanager
def undone() -> Iterator[None]:
    """What an example writes is gone before the next."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


spares_st = st.lists(
    st.tuples(
        st.sampled_from("AB"),
        st.integers(148, 152),
        st.sampled_from([Condition.SOUND, Condition.DIRTY, Condition.CRACKED]),
        st.booleans(),
    ),
    max_size=5,
)
"""Drawing, drive diameter in mm, condition, whether the bore fits the shaft."""

tops_st = st.lists(
    st.tuples(st.sampled_from("AB"), st.integers(149, 151), st.booleans()), min_size=1, max_size=4
)
"""Of each pass the top roll: drawing, present drive diameter in mm, whether it is cracked."""


def build(world, tops, spares):
    """A kit whose every pass has a sound bottom roll of 150 mm and a top roll, on ratio 1."""
    rack = world.place("Rack", walking_order=1)
    sizes = {"bore_nm": 60 * MM, "keyway_width_nm": 18 * MM, "keyway_depth_nm": 4_400_000,
             "drive_diameter_nm": DRAWN}  # fmt: skip
    drawings = {name: world.drawing(name, **sizes) for name in "ABZ"}
    wanted = {}
    for number, (name, _mm, _cracked) in enumerate(tops, start=1):
        wanted[number, "top", 1] = drawings[name]
        wanted[number, "bottom", 1] = drawings["Z"]
    tool_set = world.tool_set("S", wanted)
    mill = world.mill("M", stations=len(tops))
    own = {}
    for number, (name, mm, cracked) in enumerate(tops, start=1):
        own[number, "top", 1] = world.piece(
            drawings[name], rack, now_drive_diameter_nm=mm * MM,
            condition="cracked" if cracked else "sound",
        )  # fmt: skip
        own[number, "bottom", 1] = world.piece(drawings["Z"], rack)
    world.copy(tool_set, "A", own)
    free = [
        world.piece(
            drawings[name], rack, now_drive_diameter_nm=mm * MM, condition=condition,
            now_bore_nm=60 * MM if fits else 59 * MM,
        )
        for name, mm, condition, fits in spares
    ]  # fmt: skip
    return world.job(tool_set, mill), free


def cost(tops, spares, chosen):
    """(positions not filled, ratio deviation, deviation from the drawn steps, remarks).

    ``chosen``: pass → index of a spare. A pass that lacks its roll stands in with its drawn
    diameter; every drawn step is 0.
    """
    known = [None if cracked else mm for _name, mm, cracked in tops]
    lacking = [n for n, mm in enumerate(known) if mm is None]
    stand_in = [150 if mm is None else mm for mm in known]
    ratio = steps = remarks = 0
    for n, at in chosen.items():
        mm, condition = spares[at][1], spares[at][2]
        ratio += abs(mm - 150)
        if n > 0:
            steps += abs(mm - stand_in[n - 1])
        if n + 1 < len(tops):
            steps += abs(stand_in[n + 1] - mm)
        remarks += condition == Condition.DIRTY
    return (len(lacking) - len(chosen), ratio, steps, remarks)


def best(tops, spares):
    """The least cost over every way of giving spares to passes that lack their roll."""
    lacking = [n for n, (_name, _mm, cracked) in enumerate(tops) if cracked]
    usable = [
        at
        for at, (_name, _mm, condition, fits) in enumerate(spares)
        if fits and condition != Condition.CRACKED
    ]
    slots = [*usable, *[None] * len(lacking)]
    costs = []
    for order in permutations(slots, len(lacking)):
        chosen = {n: at for n, at in zip(lacking, order, strict=True) if at is not None}
        if all(spares[at][0] == tops[n][0] for n, at in chosen.items()):
            costs.append(cost(tops, spares, chosen))
    return min(costs)


@given(tops=tops_st, spares=spares_st)
@settings(max_examples=examples(25))
def test_assembling_equals_brute_force(world, crew, at, tops, spares):
    with undone():
        job, free = build(world, tops, spares)
        kit = kits.assemble(by=crew, at=at, kit=kits.open_kit(by=crew, at=at, job=job))
        numbers = {piece.pk: n for n, piece in enumerate(free)}
        rows = kit.positions.filter(is_substitute=True)
        chosen = {row.pass_number - 1: numbers[row.piece_id] for row in rows}
        assert cost(tops, spares, chosen) == best(tops, spares)
        before = list(kit.positions.order_by("pk").values_list("piece", "is_substitute"))
        again = kits.assemble(by=crew, at=at, kit=kit)
        assert list(again.positions.order_by("pk").values_list("piece", "is_substitute")) == before


SPOTS = ((1, "top", 1), (1, "bottom", 1), (2, "top", 1))
moves_st = st.lists(
    st.tuples(
        st.sampled_from(["move", "close", "place", "release"]),
        st.integers(0, 2),
        st.sampled_from(["rack", "cart 1", "cart 2", "mill"]),
        st.integers(0, 1),
    ),
    min_size=1,
    max_size=12,
)


class Floor:
    """Two kits that claim the same pieces, two carts, a mill; what may happen to them."""

    def __init__(self, world, by):
        self.by, self.at = by, world.at
        self.shop = Rolling(world)
        self.kits = [self.shop.kit(by), self.shop.kit(by, number="J2", in_hours=30)]
        other = world.place("Cart 2", kind="cart")
        station = self.shop.mill.stations.get(number=1).place
        self.places = {"rack": self.shop.rack, "cart 1": self.shop.cart, "cart 2": other,
                       "mill": station}  # fmt: skip

    def happen(self, what, spot, place, which):
        shared = {"by": self.by, "at": self.at}
        kit, position = self.kits[which], SPOTS[spot]
        try:
            if what == "move":
                piece = self.shop.pieces[position]
                move_pieces(**shared, pieces=[piece], to=self.places[place])
            elif what == "place":
                kits.set_gathering_place(**shared, kit=kit, place=self.places[place])
            elif what == "release":
                row = kit.positions.get(pass_number=position[0], shaft=position[1])
                kits.release(**shared, kit=kit, position=row)
            else:
                kits.close(**shared, kit=kit, reason="enough")
        except ToolingError as refused:
            return refused.code
        return "done"


@pytest.fixture
def floor(world, crew):
    """It stands before each story begins."""
    return Floor(world, crew)


@given(story=moves_st)
@settings(max_examples=examples(25))
def test_whatever_happens_a_piece_is_staged_for_one_open_kit_and_verify_agrees(floor, story):
    with undone():
        mine = copy.deepcopy(floor)
        for step in story:
            mine.happen(*step)
            held = KitPosition.objects.filter(holds_piece=True).values_list("piece", flat=True)
            assert len(held) == len(set(held))
            assert differences() == []


@given(story=moves_st)
@settings(max_examples=examples(15))
def test_what_is_refused_changes_nothing(floor, story):
    with undone():
        mine = copy.deepcopy(floor)
        for step in story:
            before = list(KitPosition.objects.order_by("pk").values())
            if mine.happen(*step) != "done":
                assert list(KitPosition.objects.order_by("pk").values()) == before
