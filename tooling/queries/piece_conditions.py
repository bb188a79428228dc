"""The state of one piece for a job, with its reason in a sentence."""

from __future__ import annotations

from datetime import datetime, time

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from tooling.engineering.lengths import StripUnit, Unit, format_strip_length, say_length
from tooling.models import NOT_FIT, Condition, Drawing, OldPieces, Piece, Place, PlaceKind
from tooling.queries.condition_facts import Facts
from tooling.queries.kit_views import State, Verdict
from tooling.queries.shafts import ShaftAt
from tooling.queries.spares import below_least
from tooling.queries.strokes import Strokes
from tooling.queries.whereabouts import GONE_KINDS

TO_CLEAN = (Condition.BUILD_UP, Condition.DIRTY)


def verdict(facts: Facts, piece: Piece, shaft: ShaftAt | None, is_staged: bool) -> Verdict:
    """Exactly one state; the graver where several would hold."""
    found = _impossible(facts, piece, shaft, is_staged) or _in_doubt(facts, piece, is_staged)
    place, ruled = piece.place, facts.ruling(piece)
    return Verdict(
        state=found.state,
        reason=found.reason,
        place=place.path_name or place.name,
        place_code=place.code,
        due_back=found.due_back,
        back_in_time=found.back_in_time,
        other_kit=found.other_kit,
        not_yet_seen=piece.seen_at is None,
        revision_note=ruled.note_said if ruled is not None else "",
        is_new=piece.condition == Condition.NEW,
        to_sharpen=found.to_sharpen,
        ruling=ruled.what if ruled is not None else "",
    )


def nothing_chosen(drawing: Drawing, on_paper: str) -> Verdict:
    """A position that claims nothing: still on paper, or missing."""
    if on_paper:
        return Verdict(
            State.TO_FETCH,
            _("Known from paper only, not yet seen: look in {place}.").format(place=on_paper),
            place=on_paper,
            not_yet_seen=True,
        )
    return Verdict(
        State.MISSING,
        _("Nothing is chosen for it: no {drawing} was free. Choose one, or have one made.").format(
            drawing=drawing.number
        ),
    )


def _impossible(
    facts: Facts, piece: Piece, shaft: ShaftAt | None, is_staged: bool
) -> Verdict | None:
    beyond = facts.away.beyond_reach(piece.place)
    if beyond is not None and beyond.kind in GONE_KINDS:
        return Verdict(State.MISSING, _gone(piece, beyond))
    staged = None if is_staged else _staged_elsewhere(facts, piece)
    return (
        staged
        or _worn(facts, piece)
        or _held(facts, piece, is_staged)
        or _does_not_fit(facts, piece, shaft)
        or (_out(facts, piece, beyond) if beyond is not None else None)
        or _on_order(facts, piece, is_staged)
        or (None if is_staged else _reserved(facts, piece))
    )


def _gone(piece: Piece, place: Place) -> str:
    since = _day(piece.placed_effective_at)
    if place.kind == PlaceKind.LOST:
        return _("Lost since {day}.").format(day=since)
    if place.kind == PlaceKind.SCRAP:
        return _("Scrapped on {day}.").format(day=since)
    return _("Nobody has said where it is: find it and scan it to a place.")


def _staged_elsewhere(facts: Facts, piece: Piece) -> Verdict | None:
    for claim in facts.claims(piece.pk):
        if claim.holds:
            kit = claim.kit
            reason = _("Staged for kit {kit} (job {job}); due back {day}.").format(
                kit=kit.number, job=kit.binding.job, day=_moment(kit.binding.ends)
            )
            return Verdict(State.TAKEN, reason, due_back=kit.binding.ends, other_kit=kit.number)
    return None


def _reserved(facts: Facts, piece: Piece) -> Verdict | None:
    before = facts.claims_before(piece.pk)
    if not before:
        return None
    kit = min((claim.kit for claim in before), key=lambda k: (k.binding.begins, k.binding.job))
    reason = _("Job {job} gathers it first, for kit {kit}; due back {day}.").format(
        kit=kit.number, job=kit.binding.job, day=_moment(kit.binding.ends)
    )
    return Verdict(State.TAKEN, reason, due_back=kit.binding.ends, other_kit=kit.number)


def _worn(facts: Facts, piece: Piece) -> Verdict | None:
    if piece.condition in NOT_FIT:
        return Verdict(
            State.WORN, _("It is {condition}.").format(condition=piece.get_condition_display())
        )
    strokes = facts.strokes.get(piece.pk)
    if strokes is not None and strokes.is_over:
        return Verdict(State.WORN, _blunt(strokes), to_sharpen=True)
    out = facts.worn.out(piece.pk)
    if out is not None:
        words = _("{point} is beyond its limit, as it was read last.")
        return Verdict(State.WORN, words.format(point=out))
    name = below_least(piece)
    if not name:
        return None
    unit: Unit = "in" if piece.unit == "in" else "mm"
    reason = _("{dimension} is {now}, below the least allowed {least}.").format(
        dimension=_dimension(name),
        now=say_length(getattr(piece, f"now_{name}_nm"), unit),
        least=say_length(getattr(piece.revision, f"least_{name}_nm"), unit),
    )
    return Verdict(State.WORN, reason)


def _dimension(name: str) -> str:
    return {
        "drive_diameter": _("Drive diameter"),
        "root_diameter": _("Root diameter"),
        "outside_diameter": _("Outside diameter"),
        "face_width": _("Face width"),
    }[name]


def _held(facts: Facts, piece: Piece, is_staged: bool) -> Verdict | None:
    if piece.condition == Condition.HOLD:
        reason = piece.hold_reason or _("no reason written")
        return Verdict(State.HELD, _("Held: {reason}.").format(reason=reason.rstrip(".")))
    if not facts.consents.lets(piece, facts.job):
        why = facts.consents.why_not(piece, facts.job)
        if is_staged:
            why += " " + _("It lies with this kit: take it off, or have {owner} agree.").format(
                owner=piece.owner.name
            )
        return Verdict(State.HELD, why)
    ruled = facts.ruling(piece)
    if ruled is not None and ruled.what == OldPieces.REWORK:
        return Verdict(State.HELD, ruled.said)
    return None


def _on_order(facts: Facts, piece: Piece, is_staged: bool) -> Verdict | None:
    order = facts.orders.get(piece.pk)
    if order is None or not order.holds_for(facts.job.pk, is_staged=is_staged):
        return None
    return Verdict(State.HELD, order.said)


def _does_not_fit(facts: Facts, piece: Piece, shaft: ShaftAt | None) -> Verdict | None:
    ruled = facts.ruling(piece)
    if ruled is not None and ruled.what == OldPieces.SCRAP:
        return Verdict(State.DOES_NOT_FIT, ruled.said)
    finding = facts.fits.problem(piece, shaft)
    if finding is None:
        return None
    unit: Unit = "in" if piece.unit == "in" else "mm"
    return Verdict(State.DOES_NOT_FIT, finding.text(lambda nm: say_length(nm, unit)))


def _out(facts: Facts, piece: Piece, place: Place) -> Verdict:
    """Where it is, since when, and whether it is due back before the kit is gathered."""
    words = {
        PlaceKind.GRINDER: _("At the grinder ({place}) since {day}"),
        PlaceKind.CUSTOMER: _("At the customer ({place}) since {day}"),
        PlaceKind.SISTER: _("At the sister plant ({place}) since {day}"),
        PlaceKind.PERSON: _("{place} has it since {day}"),
    }[PlaceKind(place.kind)]
    due = facts.dues.get(piece.pk)
    since = due.since if due is not None else piece.placed_effective_at
    said = words.format(place=place.name, day=_day(since))
    if due is None or due.due_on is None:
        return Verdict(State.OUT, _("{said}; nobody said when it is back.").format(said=said))
    gathers = timezone.localtime(facts.job.gathers_at)
    in_time = due.due_on < gathers.date()
    if facts.today is not None and due.due_on < facts.today:
        words, in_time = _("{said}; was due back {due} and is overdue."), False
    elif in_time:
        words = _("{said}; due back {due}, before this kit is gathered ({gathers}).")
    elif due.due_on == gathers.date():
        words = _("{said}; due back {due}, the day this kit is gathered ({gathers}).")
    else:
        words = _("{said}; due back {due}, after this kit is gathered ({gathers}).")
    reason = words.format(said=said, due=due.due_on.isoformat(), gathers=_moment(gathers))
    end = datetime.combine(due.due_on, time(23, 59), tzinfo=gathers.tzinfo)
    return Verdict(State.OUT, reason, due_back=end, back_in_time=in_time)


def _in_doubt(facts: Facts, piece: Piece, is_staged: bool) -> Verdict:
    strokes = facts.strokes.get(piece.pk)
    if strokes is not None and strokes.is_over_with(facts.job.length_nm):
        said = _goes_blunt(strokes, facts.job.length_nm)
        return Verdict(State.MAY_NOT_LAST, said, to_sharpen=True)
    if facts.job.length_nm and facts.may_wear_out(piece.pk):
        return Verdict(State.MAY_NOT_LAST, _may_wear_out(facts, piece))
    if facts.is_over_usual(piece.pk) and piece.pk not in facts.measured:
        return Verdict(State.MAY_NOT_LAST, _may_not_last(facts, piece))
    place = piece.place.path_name or piece.place.name
    if is_staged:
        words = _("Here, in {place}.").format(place=place)
    elif piece.seen_at is None:
        words = _("In {place} by what is written; nobody has seen it yet.").format(place=place)
    else:
        words = _("Fetch it from {place}.").format(place=place)
    if piece.condition in TO_CLEAN:
        words += " " + _("It is {condition}: clean it before this run.").format(
            condition=piece.get_condition_display()
        )
    return Verdict(State.HERE if is_staged else State.TO_FETCH, words)


def _may_wear_out(facts: Facts, piece: Piece) -> str:
    point, left_nm = facts.worn.least(piece.pk, facts.job.strip_class)
    unit: StripUnit = "ft" if facts.job.unit == "in" else "m"
    return _(
        "Measure before this run, or carry the spare: {point} is sure to last {left} of this strip "
        "and the job takes {job}."
    ).format(
        point=point,
        left=_strip(left_nm, unit),
        job=_strip(facts.job.length_nm, unit),
    )


def _may_not_last(facts: Facts, piece: Piece) -> str:
    interval = facts.intervals[piece.pk]
    unit: StripUnit = "ft" if facts.job.unit == "in" else "m"
    return _(
        "Measure before this run, or carry the spare: it ran {since} since its last regrind and "
        "this job adds {job}; pieces alike were recut after {usual} on average ({count} regrinds)."
    ).format(
        since=_strip(interval.since_nm, unit),
        job=_strip(facts.job.length_nm, unit),
        usual=_strip(interval.usual_nm, unit),
        count=interval.regrinds,
    )


def _blunt(strokes: Strokes) -> str:
    return _(
        "It made {since} strokes since it was last sharpened; it is to be sharpened at {limit}."
    ).format(since=_many(strokes.since), limit=_many(strokes.limit))


def _goes_blunt(strokes: Strokes, length_nm: int) -> str:
    return _(
        "Sharpen it before this run, or carry the spare: it made {since} strokes since it was last "
        "sharpened, this job takes some {job} more, and it is to be sharpened at {limit}."
    ).format(
        since=_many(strokes.since),
        job=_many(strokes.of_job(length_nm)),
        limit=_many(strokes.limit),
    )


def _many(n: int | None) -> str:
    """A whole number with its thousands apart."""
    return f"{n or 0:,}".replace(",", "\u202f")


def _strip(nm: int, unit: StripUnit) -> str:
    return f"{format_strip_length(nm, unit, 0)} {unit}"


def _day(moment: datetime | None) -> str:
    if moment is None:
        return _("a day nobody wrote down")
    return date_format(timezone.localtime(moment), "Y-m-d")


def _moment(moment: datetime) -> str:
    return date_format(timezone.localtime(moment), "Y-m-d H:i")
