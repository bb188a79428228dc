"""The one answer to "how does this stand for that job?", for pages, API and assembling alike.

All that is asked about is answered together by a fixed number of queries.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from django.db.models import Q

from tooling.models import Drawing, DrawingRevision, Job, KitPosition, Piece, StockLine
from tooling.queries import piece_conditions, stock_conditions
from tooling.queries.bindings import Binding, OpenKit, open_kits
from tooling.queries.condition_facts import Claim, Facts
from tooling.queries.kit_views import TROUBLE, Alternative, Verdict
from tooling.queries.old_pieces import group, has_old, revisions_of
from tooling.queries.regrind_intervals import intervals, measured_since_run
from tooling.queries.settings import Given, given_settings
from tooling.queries.shafts import FitsOn, ShaftAt
from tooling.queries.spares import Looking, Spares, spares
from tooling.queries.whereabouts import whereabouts

SETTINGS = ["regrind_intervals_least", "usual_length_share", "lift_warn", "lift_two_people"]


@dataclass(frozen=True)
class Asked:
    """One position asked about: the piece or bin claimed for it, if any.

    Pieces come with revision, owner and place, bins with place. ``on_paper`` is where the copy
    lies that is only known from paper, for a position whose piece is still to be unfolded.
    """

    key: int
    drawing: Drawing
    piece: Piece | None = None
    line: StockLine | None = None
    shaft: ShaftAt | None = None
    is_staged: bool = False
    on_paper: str = ""


@dataclass(frozen=True)
class Question:
    """How all this stands for one job.

    ``kit_id`` is the job's own kit, whose claims do not count against it. A closed kit competes
    with nobody.
    """

    job: Job
    kit_id: int | None
    asked: Sequence[Asked]
    is_open: bool = True


@dataclass(frozen=True)
class Answers:
    """The verdicts by key, and the facts of each question they rest on, in the same order."""

    verdicts: Mapping[int, Verdict]
    facts: tuple[Facts, ...]


def conditions(questions: Sequence[Question], *, offer: bool = True) -> Answers:
    """How everything asked about stands, each for its job.

    Keys must differ over all questions. With ``offer`` each position in trouble gets an
    alternative where one exists, every spare once per question. Six queries whatever is asked,
    two more where pieces have run, two more for each question with trouble to offer for.
    """
    all_facts = load_facts(questions)
    verdicts: dict[int, Verdict] = {}
    for question, facts in zip(questions, all_facts, strict=True):
        found = _verdicts(facts, question.asked)
        if offer:
            _offer(facts, question.asked, found)
        verdicts |= found
    return Answers(verdicts, all_facts)


def _verdicts(facts: Facts, asked: Sequence[Asked]) -> dict[int, Verdict]:
    found = stock_conditions.verdicts(
        facts, [(each.key, each.line, each.is_staged) for each in asked if each.line is not None]
    )
    for each in asked:
        if each.piece is not None:
            found[each.key] = piece_conditions.verdict(
                facts, each.piece, each.shaft, each.is_staged
            )
        elif each.line is None:
            found[each.key] = piece_conditions.nothing_chosen(each.drawing, each.on_paper)
    return found


def load_facts(questions: Sequence[Question]) -> tuple[Facts, ...]:
    """What the verdicts depend on besides the pieces, for each question."""
    asked = [each for question in questions for each in question.asked]
    pieces = {each.piece.pk: each.piece for each in asked if each.piece is not None}
    lines = {each.line.pk for each in asked if each.line is not None}
    given = given_settings(SETTINGS)
    kits = open_kits()
    by_piece, by_line = _claims(kits, set(pieces), lines)
    running = any(question.job.length_nm > 0 for question in questions)
    stand = intervals(pieces.values()) if running else {}
    revisions, chains = _revisions(asked)
    away, fits = whereabouts(), FitsOn()
    facts = [
        Facts(
            job=question.job,
            binding=Binding.of(question.job),
            kit_id=question.kit_id,
            others={pk: k for pk, k in kits.items() if pk != question.kit_id and question.is_open},
            all_claims=by_piece if question.is_open else {},
            all_stock_claims=by_line if question.is_open else {},
            intervals=stand,
            share=_setting(given, question.job, "usual_length_share") / 100,
            regrinds_least=int(_setting(given, question.job, "regrind_intervals_least")),
            revisions=revisions,
            chains=chains,
            away=away,
            fits=fits,
            given=given,
            own_path=_own_path(kits, question),
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
    kits: Mapping[int, OpenKit], pieces: set[int], lines: set[int]
) -> tuple[dict[int, tuple[Claim, ...]], dict[int, tuple[Claim, ...]]]:
    """Of open kits: by piece, and those not yet staged by bin. One query."""
    wanted = Q(piece__in=pieces) | Q(stock_line__in=lines)
    by_piece: dict[int, list[Claim]] = defaultdict(list)
    by_line: dict[int, list[Claim]] = defaultdict(list)
    fields = ("kit_id", "piece_id", "stock_line_id", "is_staged", "holds_piece", "station_number",
              "pass_number", "shaft", "order")  # fmt: skip
    rows = KitPosition.objects.filter(wanted, is_open=True).order_by("pk")
    for kit, piece, line, staged, *rest in rows.values_list(*fields):
        claim = Claim(kits[kit], *rest)
        if piece is not None:
            by_piece[piece].append(claim)
        elif not staged:
            by_line[line].append(claim)
    return ({k: tuple(v) for k, v in by_piece.items()}, {k: tuple(v) for k, v in by_line.items()})


def _offer(facts: Facts, asked: Sequence[Asked], verdicts: dict[int, Verdict]) -> None:
    """To every position in trouble a spare of its drawing, each spare once."""
    lacking = [each for each in asked if verdicts[each.key].state in TROUBLE]
    found = spares(looking_for(facts), {each.drawing.pk for each in lacking})
    given: set[int] = set()
    for each in lacking:
        offer = _piece_for(facts, each, found, given) or _line_for(each, found)
        if offer is not None:
            verdicts[each.key] = replace(verdicts[each.key], alternative=offer)


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


def _line_for(each: Asked, found: Spares) -> Alternative | None:
    for line in found.lines.get(each.drawing.pk, ()):
        if each.line is None or line.pk != each.line.pk:
            place = line.place
            return Alternative(
                "stock", line.code, "", place.path_name or place.name, place.code, line.count
            )
    return None


__all__ = ["Answers", "Asked", "Question", "conditions", "load_facts", "looking_for"]
