"""``bench kills``: a hundred times SIGKILL with scans under way, and what came of every scan."""

from __future__ import annotations

import os

from django.utils import timezone
from rest_framework.authtoken.models import Token

from tests.bench.build import Built
from tests.bench.clock import Figure
from tests.bench.kills import LEAST_IN_FLIGHT, Target, compare, kill_again_and_again, serving
from tooling.models import Owner, Piece, Place, PlaceKind
from tooling.services import stock_lines
from tooling.services.codes import next_codes
from tooling.services.write import writing

KILLS = 100
PIECES, PLACES, HELD = 2_000, 6, 1_000_000


def kills(built: Built) -> list[Figure]:
    """The report: everything but the first rows should be nothing."""
    target = _target(built)
    with serving(dict(os.environ)) as server:
        report = kill_again_and_again(server, target, kills=KILLS, seed=100)
    for problem in report.problems[:5]:
        print(problem)
    found = compare(report, target)
    return [
        Figure("server killed", report.kills, "", KILLS, at_least=True),
        Figure("requests under way at a kill, least", min(report.in_flight), "", LEAST_IN_FLIGHT,
               at_least=True),
        Figure("scans sent", len(report.sent), ""),
        Figure("acknowledged as taken", found.acknowledged, ""),
        Figure("acknowledged as refused", found.refused, ""),
        Figure("sent again and already there", report.repeated, ""),
        Figure("acknowledged and lost", found.lost, "", 0),
        Figure("in the ledger twice", found.doubled, "", 0),
        Figure("in the ledger and sent by nobody", found.strange, "", 0),
        Figure("never answered", found.unanswered, "", 0),
        Figure("spacers too many or too few", found.stock_off, "", 0),
        Figure("other answers than 200", len(report.problems), "", 0),
        Figure("verify: differences after the kills", found.differences, "", 0),
    ]  # fmt: skip


def _target(built: Built) -> Target:
    """Pieces that no kit claims, places of their own, and a bin of spacers."""
    free = Piece.objects.filter(kit_positions=None)
    pieces = list(free.values_list("code", flat=True)[:PIECES])
    drawing = Piece.objects.select_related("drawing")[0].drawing
    with writing():
        codes = next_codes(kind="P", count=PLACES + 1)
    places = [
        Place.objects.create(
            code=code, kind=PlaceKind.RACK, name=f"Kill rack {code}", path=f"/{code}/",
            path_name=f"Kill rack {code}",
        )
        for code in codes
    ]  # fmt: skip
    owner = Owner.objects.filter(is_shop=True)[0]
    line = stock_lines.create_line(
        by=built.person, at=timezone.now(), drawing=drawing, place=places[-1], owner=owner,
        count=HELD,
    )  # fmt: skip
    token, _made = Token.objects.get_or_create(user=built.person)
    return Target(pieces, [place.code for place in places[:-1]], line.code, token.key)
