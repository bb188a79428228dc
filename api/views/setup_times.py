"""The times of a setup, and striking it down."""

from __future__ import annotations

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.door import Door, answer, by, given
from api.serializers.changeovers import (
    DelayIn,
    FlagIn,
    MaybeActIn,
    OffIn,
    StepIn,
    StrikeIn,
    StripDownOut,
    TimesOut,
    UndoActIn,
)
from tooling.models import Delay, Setup, SetupStep
from tooling.permissions import Verb
from tooling.queries.by_code import row_of
from tooling.queries.setup_times import times_page
from tooling.queries.setups import find_setup
from tooling.queries.strip_down import strip_down
from tooling.services import setup_times as times
from tooling.services import strip_down as striking


def _times(setup: Setup, status: int = 200) -> Response:
    return answer(TimesOut, times_page(setup.kit.number), status)


def _coming(setup: Setup) -> Response:
    return answer(StripDownOut, strip_down(setup.kit.number, at=timezone.now()))


class Steps(Door):
    """A setup's times; POST says that a step is reached."""

    verbs = {"POST": Verb.MOUNT_SETUPS}

    @extend_schema(responses=TimesOut)
    def get(self, request: Request, number: str) -> Response:
        return _times(find_setup(number))

    @extend_schema(request=StepIn, responses={201: TimesOut})
    def post(self, request: Request, number: str) -> Response:
        setup, values = find_setup(number), given(StepIn, request)
        key = values.pop("id", None)
        times.say_step(by=by(request), at=timezone.now(), setup=setup, uuid=key, **values)
        return _times(setup, 201)


class OneStep(Door):
    """Take a step back."""

    verbs = {"DELETE": Verb.MOUNT_SETUPS}

    @extend_schema(responses=TimesOut)
    def delete(self, request: Request, number: str, row: int) -> Response:
        setup = find_setup(number)
        step = row_of(SetupStep.objects.filter(setup=setup), row)
        times.undo_step(by=by(request), at=timezone.now(), step=step)
        return _times(setup)


class Delays(Door):
    """Say that minutes were lost, and to what."""

    verbs = {"POST": Verb.MOUNT_SETUPS}

    @extend_schema(request=DelayIn, responses={201: TimesOut})
    def post(self, request: Request, number: str) -> Response:
        setup, values = find_setup(number), given(DelayIn, request)
        key = values.pop("id", None)
        times.say_delay(by=by(request), at=timezone.now(), setup=setup, uuid=key, **values)
        return _times(setup, 201)


class OneDelay(Door):
    """Take a delay back."""

    verbs = {"DELETE": Verb.MOUNT_SETUPS}

    @extend_schema(responses=TimesOut)
    def delete(self, request: Request, number: str, row: int) -> Response:
        setup = find_setup(number)
        delay = row_of(Delay.objects.filter(setup=setup), row)
        times.undo_delay(by=by(request), at=timezone.now(), delay=delay)
        return _times(setup)


class StripDown(Door):
    """A setup as it comes down: what is on, where it goes, what stays, what is not home."""

    @extend_schema(responses=StripDownOut)
    def get(self, request: Request, number: str) -> Response:
        return _coming(find_setup(number))


class TakeOff(Door):
    """The pegs of stations are full but for the gaps."""

    verbs = {"POST": Verb.MOUNT_SETUPS}

    @extend_schema(request=OffIn, responses=StripDownOut)
    def post(self, request: Request, number: str) -> Response:
        setup, values = find_setup(number), given(OffIn, request)
        striking.take_off(by=by(request), at=timezone.now(), setup=setup, **values)
        return _coming(setup)


class CountsBack(Door):
    """Loose spacers are in their bins again, by count."""

    verbs = {"POST": Verb.MOUNT_SETUPS}

    @extend_schema(request=MaybeActIn, responses=StripDownOut)
    def post(self, request: Request, number: str) -> Response:
        setup, values = find_setup(number), given(MaybeActIn, request)
        striking.send_counts_back(by=by(request), at=timezone.now(), setup=setup, **values)
        return _coming(setup)


class TakeBack(Door):
    """What one act took off or sent back is as it was."""

    verbs = {"POST": Verb.MOUNT_SETUPS}

    @extend_schema(request=UndoActIn, responses=StripDownOut)
    def post(self, request: Request, number: str) -> Response:
        setup, values = find_setup(number), given(UndoActIn, request)
        striking.undo_act(by=by(request), at=timezone.now(), setup=setup, **values)
        return _coming(setup)


class LookOver(Door):
    """All clean and sound; DELETE takes that back."""

    verbs = {"POST": Verb.MOUNT_SETUPS, "DELETE": Verb.MOUNT_SETUPS}

    @extend_schema(request=MaybeActIn, responses=StripDownOut)
    def post(self, request: Request, number: str) -> Response:
        setup, values = find_setup(number), given(MaybeActIn, request)
        striking.look_over(by=by(request), at=timezone.now(), setup=setup, id=values.get("act"))
        return _coming(setup)

    @extend_schema(responses=StripDownOut)
    def delete(self, request: Request, number: str) -> Response:
        setup = find_setup(number)
        striking.undo_look(by=by(request), at=timezone.now(), setup=setup)
        return _coming(setup)


class Flag(Door):
    """One roll is not as it should be: it is stopped, and scanned by itself."""

    verbs = {"POST": Verb.STOP_PIECES}

    @extend_schema(request=FlagIn, responses=StripDownOut)
    def post(self, request: Request, number: str) -> Response:
        setup, values = find_setup(number), given(FlagIn, request)
        striking.flag(by=by(request), at=timezone.now(), setup=setup, **values)
        return _coming(setup)


class Strike(Door):
    """The end: the setup is struck, its kit closed."""

    verbs = {"POST": Verb.MOUNT_SETUPS}

    @extend_schema(request=StrikeIn, responses=StripDownOut)
    def post(self, request: Request, number: str) -> Response:
        setup, values = find_setup(number), given(StrikeIn, request)
        striking.strike(by=by(request), at=timezone.now(), setup=setup, **values)
        return _coming(setup)
