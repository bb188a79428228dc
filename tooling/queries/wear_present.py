"""The present lives of gauge points, each told what the lives before its last cut say of it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import pairwise

from django.db.models import Max

from tooling.engineering.wear import LifeSaid, Prior, columns, lives_said
from tooling.models import Piece
from tooling.queries.piece_told import gauged
from tooling.queries.wear_lives import Life, lives
from tooling.queries.wear_prior import Learned

AT_A_TIME = 16_384
"""Pieces whose lives are read before the next are, where all are."""


def present_lives(piece_ids: Iterable[int] | range | None, known: Learned) -> list[Life]:
    """Of these pieces, of all where None; six queries, as ``lives``."""
    return with_earlier(lives(piece_ids, learned=known.pools, past=True), known.prior)


def all_present_lives(
    known: Learned, at_a_time: int = AT_A_TIME
) -> Iterator[tuple[range, list[Life]]]:
    """Of all pieces, so many at a time that a large shop's need little memory: from which number
    up to which, and their lives. The ranges leave out no piece, gauged or not. Two queries, and
    those of ``lives`` for each range."""
    numbers = [row["pk"] for row in gauged().order_by("pk")]
    end = (Piece.objects.aggregate(last=Max("pk"))["last"] or 0) + 1
    blocks = [numbers[n : n + at_a_time] for n in range(0, len(numbers), at_a_time)]
    starts = [0, *(some[0] for some in blocks[1:]), end]
    for some, (start, stop) in zip(blocks or [[]], pairwise(starts), strict=True):
        mine = range(some[0], some[-1] + 1) if some else some
        yield range(start, stop), present_lives(mine, known)


def with_earlier(found: Sequence[Life], prior: Prior) -> list[Life]:
    """The lives that go on, in their order; a finished one is told to the one that follows it at
    the same point and end of the same piece."""
    past = [life for life in found if not life.is_present]
    said: dict[tuple[int, int, str], list[LifeSaid]] = {}
    told = lives_said(columns([life.history for life in past]), prior) if past else []
    for life, each in zip(past, told, strict=True):
        if each is not None:
            said.setdefault((life.piece_id, life.point_id, life.end), []).append(each)
    return [_told(life, said) for life in found if life.is_present]


def _told(life: Life, said: dict[tuple[int, int, str], list[LifeSaid]]) -> Life:
    mine = said.get((life.piece_id, life.point_id, life.end))
    if mine is None:
        return life
    return replace(life, history=replace(life.history, earlier=tuple(mine)))
