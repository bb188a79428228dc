"""One order as a page, a paper or a program sees it. Frozen; made by ``regrind_order_page``."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property
from typing import Any

from tooling.models import OrderState
from tooling.queries.cuts_left import CutsLeft
from tooling.queries.lead_times import LeadTime
from tooling.queries.release_views import Check, Judged

GROUPS = ("to_read", "back", "out", "to_send", "released", "undone")
FEW = 20
"""So many pieces are shown at once; more are folded."""
STEP_NM = {"mm": 1_000, "in": 25_400}
"""The decimals that sizes of an order are told with, at least."""


@dataclass(frozen=True)
class SizeView:
    """One dimension of an ordered piece: before the work, as ordered, as read since. nm."""

    name: str
    label: Any
    before_nm: int | None
    target_nm: int | None
    minus_nm: int
    plus_nm: int
    read_nm: int | None
    is_wanted: bool

    @property
    def least_nm(self) -> int | None:
        return None if self.target_nm is None else self.target_nm - self.minus_nm

    @property
    def most_nm(self) -> int | None:
        return None if self.target_nm is None else self.target_nm + self.plus_nm

    @property
    def is_off(self) -> bool:
        """Read, and outside what was ordered."""
        if self.read_nm is None or self.least_nm is None or self.most_nm is None:
            return False
        return not self.least_nm <= self.read_nm <= self.most_nm


@dataclass(frozen=True)
class OrderLineView:
    """One piece on the order."""

    code: str
    mark: str
    drawing: str
    title: str
    owner: str
    owner_code: str
    is_shops: bool
    unit: str
    place: str
    place_code: str
    is_at_vendor: bool
    kinds: tuple[str, ...]
    kind_words: tuple[str, ...]
    sizes: tuple[SizeView, ...]
    mass_kg: float | None
    people: str
    material: str
    over_chrome: bool
    mark_place: str
    mark_to_restore: bool
    mark_seen_at: datetime | None
    is_open: bool
    sent_at: datetime | None
    back_at: datetime | None
    done_on: date | None
    cost_cents: int | None
    note: str
    left: CutsLeft | None
    checks: tuple[Check, ...] = ()
    kit: str = ""

    @property
    def bad(self) -> tuple[Check, ...]:
        """What keeps it from being released, once it is back."""
        return tuple(each for each in self.checks if each.level == "no")

    @property
    def untold(self) -> tuple[Check, ...]:
        """What is bad and is not told beside its name and sizes anyway."""
        shown = ("still_out", "unread_after_cut", "mark_missing", "owner_approval_missing")
        return tuple(each for each in self.bad if each.code not in shown)

    @property
    def approval_missing(self) -> Check | None:
        return next((c for c in self.checks if c.code == "owner_approval_missing"), None)

    @property
    def unread(self) -> tuple[SizeView, ...]:
        return tuple(each for each in self.sizes if each.is_wanted and each.read_nm is None)

    @property
    def step_nm(self) -> int:
        """The decimals that its sizes are told with, at least: 0.001 of its unit."""
        return STEP_NM["in" if self.unit == "in" else "mm"]

    @property
    def is_released(self) -> bool:
        """Worked on and off the order."""
        return not self.is_open and self.done_on is not None

    @property
    def is_out(self) -> bool:
        return self.is_open and self.sent_at is not None and self.back_at is None

    @property
    def name(self) -> str:
        """By what it is called in the shop."""
        return self.mark or self.drawing

    @property
    def group(self) -> str:
        """How far it is, as ``LineGroup`` names it."""
        if not self.is_open:
            return "released" if self.is_released else "undone"
        if self.back_at is not None:
            return "to_read" if self.unread else "back"
        return "to_send" if self.sent_at is None else "out"


@dataclass(frozen=True)
class Chunk:
    """So many pieces of a group that are unfolded together, from the one named to the other."""

    lines: tuple[OrderLineView, ...]
    is_unfolded: bool

    @property
    def first(self) -> str:
        return self.lines[0].name

    @property
    def last(self) -> str:
        return self.lines[-1].name


@dataclass(frozen=True)
class LineGroup:
    """Pieces of an order that are equally far: ``to_read``, ``back``, ``out``, ``to_send``,
    ``released``, ``undone``. ``chunks`` of a long order are folded but for the first to do."""

    name: str
    lines: tuple[OrderLineView, ...]
    chunks: tuple[Chunk, ...]


@dataclass(frozen=True)
class EventView:
    """Something that happened."""

    what: str
    word: str
    at: datetime
    by: str
    piece: str
    job: str
    reason: str


@dataclass(frozen=True)
class JobChoice:
    """A job for which the pieces may be released."""

    number: str
    name: str


@dataclass(frozen=True)
class OrderPage:
    number: str
    version: int
    state: str
    state_word: str
    vendor: str
    vendor_code: str
    plan: str
    requested_at: datetime
    requested_by: str
    due_on: date | None
    days_late: int
    days_unsent: int
    sent_at: datetime | None
    back_at: datetime | None
    ended_at: datetime | None
    price_cents: int | None
    currency: str
    note: str
    lead_time: LeadTime | None
    lines: tuple[OrderLineView, ...]
    judged: Judged
    events: tuple[EventView, ...]
    jobs: tuple[JobChoice, ...]

    @property
    def is_open(self) -> bool:
        return self.state in (OrderState.REQUESTED, OrderState.OUT, OrderState.BACK)

    @property
    def is_long(self) -> bool:
        """Too many pieces to show each at once."""
        return len(self.lines) > FEW

    @cached_property
    def groups(self) -> tuple[LineGroup, ...]:
        """The pieces by how far they are, what is to be done next first."""
        found: dict[str, list[OrderLineView]] = {name: [] for name in GROUPS}
        for line in self.lines:
            found[line.group].append(line)
        groups: list[LineGroup] = []
        for name, lines in found.items():
            if lines:
                size = FEW if self.is_long else len(lines)
                chunks = tuple(
                    Chunk(tuple(lines[n : n + size]), not self.is_long or not (n or groups))
                    for n in range(0, len(lines), size)
                )
                groups.append(LineGroup(name, tuple(lines), chunks))
        return tuple(groups)

    @property
    def to_send(self) -> tuple[OrderLineView, ...]:
        return tuple(line for line in self.lines if line.is_open and line.sent_at is None)

    @property
    def may_leave(self) -> tuple[OrderLineView, ...]:
        """Of those to be sent the ones that wait for no owner and lie with no kit."""
        return tuple(line for line in self.to_send if not line.approval_missing and not line.kit)

    @property
    def kept_by_kits(self) -> tuple[OrderLineView, ...]:
        """Those to be sent that lie with a kit until its run is over."""
        return tuple(line for line in self.to_send if line.kit)

    @property
    def kits(self) -> tuple[str, ...]:
        """The kits with which they lie."""
        return tuple(dict.fromkeys(line.kit for line in self.kept_by_kits))

    @property
    def out(self) -> tuple[OrderLineView, ...]:
        return tuple(line for line in self.lines if line.is_out)

    @property
    def back(self) -> tuple[OrderLineView, ...]:
        return tuple(line for line in self.lines if line.is_open and line.back_at is not None)

    @property
    def came(self) -> int:
        """How many are back, those that were released or came back as they were too."""
        return sum(line.back_at is not None for line in self.lines)

    @property
    def scanned_in(self) -> tuple[OrderLineView, ...]:
        """Out by the order, yet somebody scanned them to a place here."""
        return tuple(line for line in self.out if self.vendor and not line.is_at_vendor)

    @property
    def waiting(self) -> tuple[OrderLineView, ...]:
        """Lines that wait for an owner's answer."""
        return tuple(line for line in self.lines if line.is_open and line.approval_missing)

    @property
    def to_read(self) -> tuple[OrderLineView, ...]:
        return tuple(line for line in self.back if line.unread)

    @property
    def to_mark(self) -> tuple[OrderLineView, ...]:
        return tuple(line for line in self.back if line.mark_to_restore and not line.mark_seen_at)

    @property
    def cost_cents(self) -> int | None:
        """What the pieces cost together; None while nobody wrote one."""
        known = [line.cost_cents for line in self.lines if line.cost_cents is not None]
        return sum(known) if known else None

    @property
    def days_out(self) -> int | None:
        """Days from the first piece out to the last one back; None while something is out."""
        if self.sent_at is None or self.back_at is None:
            return None
        return round((self.back_at - self.sent_at).total_seconds() / 86_400)

    @property
    def mass_kg(self) -> float:
        return sum(line.mass_kg or 0 for line in self.lines if line.is_open)

    @property
    def unweighed(self) -> int:
        return sum(line.mass_kg is None for line in self.lines if line.is_open)
