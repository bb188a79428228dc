"""Setups: start, mount, set, check, prove, hand over, dock. The codes are those of the pages."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.door import Door, answer, by, confirm, given
from api.serializers.setup_against import AgainstOut
from api.serializers.setups import (
    ChecksIn,
    GapsIn,
    GapsOut,
    HandoverIn,
    MountIn,
    NothingIn,
    ProvedOut,
    ProveSetupIn,
    SetupOut,
    SetupRowOut,
    StartIn,
    StationAnswerOut,
    StripIn,
    StripOut,
)
from tooling.models import Piece, Setup
from tooling.permissions import Verb
from tooling.queries.by_code import gauge_of, place_of
from tooling.queries.find import find_filler
from tooling.queries.kits import find_kit
from tooling.queries.setup_against import against
from tooling.queries.setup_gaps import gaps_page
from tooling.queries.setup_station import station_answer
from tooling.queries.setups import find_setup, setup_list, setup_page
from tooling.queries.strip_measures import strip_of
from tooling.services import (
    as_set,
    mounting,
    mounting_instead,
    part_checks,
    proving,
    setups,
    strip_measures,
)

MOUNT = {"POST": Verb.MOUNT_SETUPS}


class Setups(Door):
    """What is being mounted and what runs, then what was struck down last."""

    verbs = MOUNT

    @extend_schema(responses=SetupRowOut(many=True))
    def get(self, request: Request) -> Response:
        return Response(SetupRowOut(setup_list(), many=True).data)

    @extend_schema(request=StartIn, responses={201: SetupOut})
    def post(self, request: Request) -> Response:
        """Begin to mount a kit, on its mill or on a plate."""
        values = given(StartIn, request)
        setup = setups.start_setup(
            by=by(request),
            at=timezone.now(),
            kit=find_kit(values["kit"]),
            plate=place_of(values["plate"]) if "plate" in values else None,
            check_level=values.get("check_level", ""),
            is_turned=values.get("turned"),
        )
        return _setup(setup.kit.number, 201)


class OneSetup(Door):
    """A setup with every station of its mill."""

    @extend_schema(responses=SetupOut)
    def get(self, request: Request, number: str) -> Response:
        return _setup(number)


class OneSetupStation(Door):
    """Both shafts' stacks of a station, in order from the shoulder."""

    @extend_schema(responses=StationAnswerOut)
    def get(self, request: Request, number: str, station: int) -> Response:
        return answer(StationAnswerOut, station_answer(number, station))


class Mounts(Door):
    """A shaft is on, left out, or not on after all."""

    verbs = MOUNT

    @extend_schema(request=MountIn, responses=SetupOut)
    def post(self, request: Request, number: str) -> Response:
        """What is wrong or not here is refused by name; nothing is saved then."""
        values = given(MountIn, request)
        setup = find_setup(number)
        at: dict[str, Any] = {
            "setup": setup,
            "station": values["station"],
            "shaft": values["shaft"],
            "by": by(request),
            "at": timezone.now(),
        }
        if values["what"] == "taken_back":
            mounting.take_back(**at)
        elif values["what"] == "skipped":
            mounting.leave_out(reason=values["reason"], id=values.get("id"), **at)
        else:
            _mount(values, at)
        return _setup(setup.kit.number)


def _mount(values: dict[str, Any], at: dict[str, Any]) -> None:
    mounting_instead.mount_instead(
        substitutes=[_substitute(each) for each in values["substitutes"]],
        codes=values["codes"],
        left_out={each["order"]: each["reason"] for each in values["left_out"]},
        id=values.get("id"),
        **at,
    )


def _substitute(said: dict[str, Any]) -> mounting_instead.Substitute:
    filler = find_filler(said["code"])
    other = {"piece": filler} if isinstance(filler, Piece) else {"line": filler}
    return mounting_instead.Substitute(order=said["order"], reason=said["reason"], **other)


class Gaps(Door):
    """What was set at a station."""

    verbs = MOUNT

    @extend_schema(responses=GapsOut(many=True))
    def get(self, request: Request, number: str) -> Response:
        """Of every station where the kit puts something."""
        page = setup_page(number)
        used = [row.number for row in page.stations if not row.is_idle]
        return Response([GapsOut(gaps_page(page.head.number, n)).data for n in used])

    @extend_schema(request=GapsIn, responses=GapsOut)
    def post(self, request: Request, number: str) -> Response:
        """Tilt and what is out of its window are in the answer."""
        values, setup = given(GapsIn, request), find_setup(number)
        at: dict[str, Any] = {"setup": setup, "station": values["station"], "by": by(request),
              "at": timezone.now()}  # fmt: skip
        if values["take_back"]:
            as_set.take_back(**at)
        elif values["as_target"]:
            as_set.set_as_target(id=values.get("id"), **at)
        else:
            as_set.set_numbers(
                numbers=[each["number"] for each in values["numbers"]],
                method=values["method"],
                is_loaded=values["loaded"],
                sure=values["sure"],
                note=values["note"],
                id=values.get("id"),
                **at,
            )
        return answer(GapsOut, gaps_page(setup.kit.number, values["station"]))


class Strip(Door):
    """The strip as it was measured."""

    verbs = MOUNT

    @extend_schema(responses=StripOut)
    def get(self, request: Request, number: str) -> Response:
        return answer(StripOut, strip_of(find_setup(number)))

    @extend_schema(request=StripIn, responses=StripOut)
    def post(self, request: Request, number: str) -> Response:
        """Targets that stand on the strip, and what was good last, follow the newest measure."""
        values, setup = given(StripIn, request), find_setup(number)
        way: dict[str, Any] = {"setup": setup, "by": by(request), "at": timezone.now()}
        if values.pop("take_back"):
            strip_measures.take_measure_back(**way)
        else:
            gauge = values.pop("gauge")
            strip_measures.measure_strip(
                gauge=gauge_of(gauge) if gauge else None,
                unit="in" if "thickness_in" in request.data else "mm",
                **way,
                **values,
            )
        return answer(StripOut, strip_of(setup))


class AgainstSetup(Door):
    """Two setups of one set beside each other."""

    @extend_schema(responses=AgainstOut)
    def get(self, request: Request, number: str, other: str) -> Response:
        """The other's numbers are translated to this one's strip and rolls, or say why not."""
        return answer(AgainstOut, against(number, other, at=timezone.now()))


class Checks(Door):
    """The first piece, and whether it is good."""

    verbs = MOUNT

    @extend_schema(request=ChecksIn, responses=SetupOut)
    def post(self, request: Request, number: str) -> Response:
        values, setup = given(ChecksIn, request), find_setup(number)
        way: dict[str, Any] = {"setup": setup, "by": by(request), "at": timezone.now()}
        part_checks.check_first_piece(
            checks=[each["check"] for each in values["checks"]],
            is_good_part=values["first_good_part"],
            note=values["note"],
            id=values.get("id"),
            **way,
        )
        return _setup(setup.kit.number)


class ProveSetup(Door):
    """The set is proved by this setup."""

    verbs = {"POST": Verb.PROVE_SETS}

    @extend_schema(request=ProveSetupIn, responses=ProvedOut)
    def post(self, request: Request, number: str) -> Response:
        note, setup = given(ProveSetupIn, request)["note"], find_setup(number)
        confirm(request)
        n = proving.prove_setup(by=by(request), at=timezone.now(), setup=setup, note=note)
        return Response(ProvedOut({"pieces": n}).data)


class Handover(Door):
    """To the next shift."""

    verbs = MOUNT

    @extend_schema(request=HandoverIn, responses=SetupOut)
    def post(self, request: Request, number: str) -> Response:
        values, setup = given(HandoverIn, request), find_setup(number)
        way: dict[str, Any] = {"setup": setup, "by": by(request), "at": timezone.now()}
        if values["take_back"]:
            setups.take_handover_back(**way)
        else:
            setups.hand_over(note=values["note"], **way)
        return _setup(setup.kit.number)


class Dock(Door):
    """The plate on which the setup was built is on the mill."""

    verbs = MOUNT

    @extend_schema(request=NothingIn, responses=SetupOut)
    def post(self, request: Request, number: str) -> Response:
        given(NothingIn, request)
        setup: Setup = find_setup(number)
        setups.dock(by=by(request), at=timezone.now(), setup=setup)
        return _setup(setup.kit.number)


def _setup(number: str, status: int = 200) -> Response:
    return answer(SetupOut, setup_page(number), status)
