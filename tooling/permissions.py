"""Who may do what: one table of verbs and roles. The rule that raises and the rule that
answers are one: ``can`` asks ``check_can``."""

from __future__ import annotations

from enum import StrEnum
from typing import Any

from django.utils.translation import gettext_lazy as _

from tooling.errors import NotAllowed
from tooling.models import Person, Role


class Verb(StrEnum):
    """What somebody may be allowed to do; the value is the verb as a sentence says it."""

    MOVE_PIECES = "move pieces"
    GATHER_KITS = "gather kits"
    PLAN_JOBS = "plan jobs"
    COUNT_STOCK = "change stock counts"
    USE_STOCK = "use up stock"
    TAKE_COUNTS = "count what is there"
    CLOSE_COUNTS = "open, close and drop counts"
    RECORD_READINGS = "record readings"
    EDIT_RECORDS = "edit pieces, drawings, mills and sets"
    EDIT_PLACES = "edit places"
    ISSUE_LABELS = "issue and void labels"
    KEEP_PICTURES = "keep pictures"
    STOP_PIECES = "stop pieces, say their condition and report incidents"
    LIFT_HOLDS = "lift holds"
    DEAL_WITH_OWNERS = "write down what owners are asked, answer and are told"
    ORDER_TOOLING = "order tooling"
    RECEIVE_TOOLING = "receive tooling and measure it to print"
    ACCEPT_OFF_PRINT = "accept tooling that is not to print"
    MOUNT_SETUPS = "mount setups and write down what was set"
    PROVE_SETS = "say that a set is proved"
    RECORD_RUNS = "write down what ran"
    PLAN_REGRINDS = "plan regrinds"
    ORDER_REGRINDS = "order work on pieces"
    SEND_REGRINDS = "send pieces out for work and take them back"
    RELEASE_REGRINDS = "release pieces after work"
    RELEASE_FOR_JOB = "release pieces for one job before their order is released"
    IMPORT = "import spreadsheets"
    EXPORT = "export spreadsheets"
    RUN_SHOP = "change people, owners and settings"
    BACK_UP = "make backups"


_ALL_WRITERS = frozenset({Role.ATTENDANT, Role.CREW, Role.ENGINEER, Role.SUPERVISOR})

WHO_MAY: dict[Verb, frozenset[Role]] = {
    Verb.MOVE_PIECES: _ALL_WRITERS,
    Verb.GATHER_KITS: _ALL_WRITERS,
    Verb.PLAN_JOBS: frozenset({Role.ENGINEER, Role.SUPERVISOR}),
    Verb.COUNT_STOCK: frozenset({Role.ATTENDANT, Role.ENGINEER, Role.SUPERVISOR}),
    Verb.USE_STOCK: _ALL_WRITERS,
    Verb.TAKE_COUNTS: _ALL_WRITERS,
    Verb.CLOSE_COUNTS: frozenset({Role.ATTENDANT, Role.ENGINEER, Role.SUPERVISOR}),
    Verb.RECORD_READINGS: _ALL_WRITERS,
    Verb.EDIT_RECORDS: frozenset({Role.ENGINEER, Role.SUPERVISOR}),
    Verb.EDIT_PLACES: frozenset({Role.ATTENDANT, Role.ENGINEER, Role.SUPERVISOR}),
    Verb.ISSUE_LABELS: frozenset({Role.ATTENDANT, Role.ENGINEER, Role.SUPERVISOR}),
    Verb.KEEP_PICTURES: _ALL_WRITERS,
    Verb.STOP_PIECES: _ALL_WRITERS,
    Verb.LIFT_HOLDS: frozenset({Role.ENGINEER, Role.SUPERVISOR}),
    Verb.DEAL_WITH_OWNERS: frozenset({Role.ATTENDANT, Role.ENGINEER, Role.SUPERVISOR}),
    Verb.ORDER_TOOLING: frozenset({Role.ENGINEER, Role.SUPERVISOR}),
    Verb.RECEIVE_TOOLING: frozenset({Role.ATTENDANT, Role.ENGINEER, Role.SUPERVISOR}),
    Verb.ACCEPT_OFF_PRINT: frozenset({Role.ENGINEER, Role.SUPERVISOR}),
    Verb.MOUNT_SETUPS: _ALL_WRITERS,
    Verb.PROVE_SETS: frozenset({Role.ENGINEER, Role.SUPERVISOR}),
    Verb.RECORD_RUNS: _ALL_WRITERS,
    Verb.PLAN_REGRINDS: frozenset({Role.ENGINEER, Role.SUPERVISOR}),
    Verb.ORDER_REGRINDS: frozenset({Role.ENGINEER, Role.SUPERVISOR}),
    Verb.SEND_REGRINDS: frozenset({Role.ATTENDANT, Role.ENGINEER, Role.SUPERVISOR}),
    Verb.RELEASE_REGRINDS: frozenset({Role.ENGINEER, Role.SUPERVISOR}),
    Verb.RELEASE_FOR_JOB: frozenset({Role.SUPERVISOR}),
    Verb.IMPORT: frozenset({Role.ENGINEER, Role.SUPERVISOR}),
    Verb.EXPORT: frozenset(Role),
    Verb.RUN_SHOP: frozenset({Role.SUPERVISOR}),
    Verb.BACK_UP: frozenset({Role.SUPERVISOR}),
}


def check_can(person: Person | Any, verb: Verb) -> None:
    """Raise NotAllowed, naming the roles that may, unless the person has one of them."""
    allowed = WHO_MAY[verb]
    if isinstance(person, Person) and person.is_active and person.role_set & allowed:
        return
    roles = ", ".join(str(role.label) for role in Role if role in allowed)
    raise NotAllowed(
        _("{name} may not {verb}. Roles that may: {roles}."),
        name=str(person) or "-",
        verb=str(verb),
        roles=roles,
    )


def can(person: Person | Any, verb: Verb) -> bool:
    """Whether ``check_can`` lets the person through."""
    try:
        check_can(person, verb)
    except NotAllowed:
        return False
    return True
