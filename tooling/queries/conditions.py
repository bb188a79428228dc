"""The one answer to "how does this stand for that job?", for pages, API and assembling alike.

All that is asked about is answered together by a fixed number of queries.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Count, Min, Q, Value
from django.utils import timezone

from tooling.models import Drawing, DrawingRevision, Job, KitPosition, Piece
from tooling.queries import piece_conditions, stock_conditions
from tooling.queries.bindings import Binding, OpenKit, open_kits
from tooling.queries.condition_facts import Claim, Facts
from tooling.queries.consents import consents_about
from tooling.queries.kit_views import TROUBLE, Alternative, Verdict
from tooling.queries.loans import dues_of_pieces
from tooling.queries.old_pieces import group, has_old, revisions_of
from tooling.queries.order_holds import held_by_orders
from tooling.queries.regrind_intervals import intervals, measured_since_run
from tooling.queries.settings import Given, given_settings
from tooling.queries.shafts import FitsOn, ShaftAt
from tooling.queries.spares import Looking, Spares, spares
from tooling.queries.stock_conditions import Claimed
from tooling.queries.stock_pools import Waiting, is_pooled, lines_of, pools_of
from tooling.queries.strokes import strokes_of
from tooling.queries.wear_conditions import NOTHING_WORN, worn_of
from tooling.queries.whereabouts import whereabouts

SETTINGS = [
    "regrind_intervals_least",
    "usual_length_share",
    "lift_warn",
    "lift_two_people",
    "spacer_binding_horizon",
    "scan_same_label_guard",
]


@dataclass(frozen=True)
class Asked:
    """One position asked about: the piece claimed for it, or one of its drawing's count
    (``is_pooled``), from the bin ``line_id`` if that is chosen.

    Pieces come with revision, owner and place. ``on_paper`` is where the copy lies that is only
    known from paper, for a position whose piece is still to be unfolded.
    """

    key: int
    drawing: Drawing
    piece: Piece | None = None
    line_id: int | None = None
    shaft: ShaftAt | None = None
    is_staged: bool = False
    on_paper: str = ""
    is_pooled: bool = False


@dataclass(frozen=True)
class Question:
    """How all this stands for one job.

    ``kit_id`` is the job's own kit, whose claims do not count against it. A closed kit competes
    with nobody. ``is_fetching``: somebody goes to fetch, so bins are chosen however far the job.
    """

    job: Job
    kit_id: int | None
    asked: Sequence[Asked]
    is_open: bool = True
    is_fetching: bool = False


@dataclass(frozen=True)
class Answers:
    """The verdicts by key, and the facts of each question they rest on, in the same order."""

    verdicts: Mapping[int, Verdict]
    facts: tuple[Facts, ...]
    pooled: frozenset[int] = frozenset()

    def is_pooled(self, key: int) -> bool:
        """Whether it claims one of a count."""
        return key in self.pooled


def conditions(questions: Sequence[Question], *, at: datetime, offer: bool = True) -> Answers:
    """How everything asked about stands, each for its job.

    Keys must differ over all questions. With ``offer`` each position in trouble gets an
    alternative where one exists, every spare once per question. Nine queries whatever is asked,
    four at most where pieces have run, two where line tooling made strokes, one more where owners'
    consents matter, one more for each question with trouble to offer for.
    """
    all_facts = load_facts(questions, at=at)
    verdicts: dict[int, Verdict] = {}
    for question, facts in zip(questions, all_facts, strict=True):
        found = _verdicts(facts, question.asked)
        if offer:
            _offer(facts, question.asked, found)
        verdicts |= found
    pooled = [
        each.key
        for question, facts in zip(questions, all_facts, strict=True)
        for each in claimed_counts(facts, question.asked)
    ]
    return Answers(verdicts, all_facts, frozenset(pooled))


def claimed_counts(facts: Facts, asked: Sequence[Asked]) -> list[Claimed]:
    """The positions that claim one of a count that lies in some bin."""
    return [
        Claimed(each.key, each.drawing, each.line_id, each.is_staged)
        for each in asked
        if each.is_pooled and each.drawing.pk in facts.pools.by_drawing
    ]


def _verdicts(facts: Facts, asked: Sequence[Asked]) -> dict[int, Verdict]:
    found = stock_conditions.verdicts(facts, claimed_counts(facts, asked))
    for each in asked:
        if each.piece is not None:
            found[each.key] = piece_conditions.verdict(
                facts, each.piece, each.shaft, each.is_staged
            )
        elif each.key not in found:
            found[each.key] = piece_conditions.nothing_chosen(each.drawing, each.on_paper)
    return found


def load_facts(questions: Sequence[Question], *, at: datetime) -> tuple[Facts, ...]:
    """What the verdicts depend on besides the pieces, for each question."""
    asked = [each for question in questions for each in question.asked]
    pieces = {each.piece.pk: each.piece for each in asked if each.piece is not None}
    given = given_settings(SETTINGS)
    kits = open_kits()
    drawings = {each.drawing.pk for each in asked}
    by_piece, waiting = _claims(kits, set(pieces), drawings)
    running = any(question.job.length_nm > 0 for question in questions)
    stand = intervals(pieces.values()) if running else {}
    worn = worn_of(pieces.values()) if running else NOTHING_WORN
    strokes = strokes_of(pieces.values())
    revisions, chains = _revisions(asked)
    away, fits = whereabouts(), FitsOn()
    dues = dues_of_pieces(each for each in pieces.values() if away.is_out(each.place))
    orders = held_by_orders(pieces)
    lines = lines_of(drawings)
    counted = [line for rows in lines.values() for line in rows]
    jobs = [*(question.job for question in questions), *(kit.job for kit in kits.values())]
    consents = consents_about(
        [*pieces.values(), *counted], jobs if counted else jobs[: len(questions)]
    )
    pools = pools_of(
        lines,
        waiting,
        kits=kits,
        away=away,
        consents=consents,
        now=at,
        horizon=timedelta(hours=given.value("spacer_binding_horizon")),
    )
    facts = [
        Facts(
            job=question.job,
            binding=Binding.of(question.job),
            kit_id=question.kit_id,
            others={pk: k for pk, k in kits.items() if pk != question.kit_id and question.is_open},
            all_claims=by_piece if question.is_open else {},
            intervals=stand,
            share=_setting(given, question.job, "usual_length_share") / 100,
            regrinds_least=int(_setting(given, question.job, "regrind_intervals_least")),
            revisions=revisions,
            chains=chains,
            consents=consents,
            dues=dues,
            today=timezone.localdate(at),
            away=away,
            fits=fits,
            given=given,
            own_path=_own_path(kits, question),
            pools=pools,
            is_fetching=question.is_fetching,
            strokes=strokes,
            worn=worn,
            orders=orders,
        )
        for question in questions
    ]
    over = {pk for each in facts for pk in stand if each.is_over_usual(pk)}
    measured = frozenset(measured_since_run(over))
    return tuple(replace(each, measured=measured) for each in facts)


def _own_path(kits: Mapping[int, OpenKit], question: Question) -> str:
    own = kits.get(question.kit_id) if question.kit_id is not None else None
    return own.place_path if own else ""


def _setting(given: Given, job: Job, name: str) -> float:
    return given.value(name, unit=job.unit, mill_id=job.mill_id, set_id=job.tool_set_id)


def _revisions(
    asked: Sequence[Asked],
) -> tuple[dict[int, DrawingRevision], dict[int, list[DrawingRevision]]]:
    """By drawing id: the current revision, most of which come with the pieces; and all revisions
    in order of those drawings that had others. One query, none when nothing is asked about."""
    found = {
        each.piece.drawing_id: each.piece.revision
        for each in asked
        if each.piece is not None and each.piece.revision.is_current
    }
    drawings = {each.drawing.pk for each in asked}
    lacking = Q(drawing__in=drawings - set(found), is_current=True)
    rows = revisions_of(lacking | has_old(drawings)) if drawings else []
    found |= {row.drawing_id: row for row in rows if row.is_current}
    chains = {pk: chain for pk, chain in group(rows).items() if len(chain) > 1}
    return found, chains


def _claims(
    kits: Mapping[int, OpenKit], pieces: set[int], drawings: set[int]
) -> tuple[dict[int, tuple[Claim, ...]], list[Waiting]]:
    """Of open kits: claims by piece, and how many of a count of these drawings are not staged.
    One query: single rows of pieces beside sums of counts."""
    by_piece: dict[int, list[Claim]] = defaultdict(list)
    waiting: list[Waiting] = []
    for _pk, kit, piece, drawing, line, variant, fill, *rest, n in sorted(
        _claim_rows(pieces, drawings)
    ):
        if piece is not None:
            by_piece[piece].append(Claim(kits[kit], *rest))
        elif is_pooled(kits[kit], line_id=line, variant_id=variant, fill=fill):
            waiting.append(Waiting(kit, drawing, line, n))
    return {key: tuple(claims) for key, claims in by_piece.items()}, waiting


_NAMES = ("kit_id", "drawing_id", "stock_line_id", "set_position__variant_id", "fill")


def _claim_rows(pieces: set[int], drawings: set[int]) -> Iterable[tuple[Any, ...]]:
    """Rows that begin with an id of their own, so that sorting never compares what may be empty."""
    rows = KitPosition.objects.filter(is_open=True).order_by()
    single = rows.filter(piece__in=pieces).annotate(n=Value(1)).values_list(
        "pk", "kit_id", "piece_id", *_NAMES[1:], "holds_piece", "station_number", "pass_number",
        "shaft", "order", "n",
    )  # fmt: skip
    counted = rows.filter(piece=None, is_staged=False, drawing__in=drawings).values(*_NAMES)
    sums = counted.annotate(
        first=Min("pk"),
        nobody=Min("piece_id"),
        held=Value(False),
        station=Min("station_number"),
        set_pass=Min("pass_number"),
        which=Min("shaft"),
        turn=Min("order"),
        n=Count("pk"),
    ).values_list(
        "first", "kit_id", "nobody", *_NAMES[1:], "held", "station", "set_pass", "which", "turn",
        "n",
    )  # fmt: skip
    return single.union(sums, all=True)


def _offer(facts: Facts, asked: Sequence[Asked], verdicts: dict[int, Verdict]) -> None:
    """To every position in trouble a spare of its drawing, each spare once."""
    lacking = [each for each in asked if verdicts[each.key].state in TROUBLE]
    found = spares(looking_for(facts), {each.drawing.pk for each in lacking})
    bins = _bins(facts, asked, lacking)
    given: set[int] = set()
    for each in lacking:
        offer = _piece_for(facts, each, found, given)
        if offer is None and bins.get(each.drawing.pk) and not each.is_pooled:
            offer = bins[each.drawing.pk].pop(0)
        if offer is not None:
            verdicts[each.key] = replace(verdicts[each.key], alternative=offer)


def _bins(
    facts: Facts, asked: Sequence[Asked], lacking: Sequence[Asked]
) -> dict[int, list[Alternative]]:
    """By drawing one bin for each that can be spared for a position whose piece is in trouble."""
    wanted: dict[int, int] = defaultdict(int)
    for each in lacking:
        if not each.is_pooled:
            wanted[each.drawing.pk] += 1
    counts = claimed_counts(facts, asked) if wanted else []
    return {
        drawing: stock_conditions.bins_to_offer(facts, drawing, counts, n)
        for drawing, n in wanted.items()
    }


def looking_for(facts: Facts) -> Looking:
    """The job that the facts are about, as one who looks for spares."""
    return Looking(
        job=facts.job,
        kit_id=facts.kit_id,
        others=facts.others,
        chains=facts.chains,
        away=facts.away,
        own_path=facts.own_path,
    )


def _piece_for(facts: Facts, each: Asked, found: Spares, given: set[int]) -> Alternative | None:
    for spare in found.pieces.get(each.drawing.pk, ()):
        piece = spare.piece
        if piece.pk in given or facts.fits.problem(piece, each.shaft) is not None:
            continue
        given.add(piece.pk)
        place = piece.place
        return Alternative(
            "piece", piece.code, piece.mark, place.path_name or place.name, place.code
        )
    return None


__all__ = [
    "Answers",
    "Asked",
    "Question",
    "claimed_counts",
    "conditions",
    "load_facts",
    "looking_for",
]
