"""A regrind plan's page: what was asked, what was answered, whether it still holds."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from types import MappingProxyType
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from tooling.engineering.findings import Finding
from tooling.engineering.lengths import Unit, say_length
from tooling.models import RegrindOrder, RegrindPlan, RegrindPlanCopy, Shop
from tooling.queries.regrind_asks import Asks, asks_from
from tooling.queries.regrind_facts import Facts, read_facts
from tooling.queries.regrind_plan_views import (
    AimsView,
    ConflictView,
    DecisionView,
    LineView,
    PassView,
    PlanPage,
    Sentence,
    SettingView,
    SettledView,
    ShaftView,
    SizeView,
    StepView,
    UnmeasuredView,
)
from tooling.queries.regrind_problem import Asked, copy_name, problem_of

Json = Mapping[str, Any]
KINDS = {
    "leave": gettext_lazy("leave"),
    "cut": gettext_lazy("cut"),
    "face": gettext_lazy("cut the face"),
    "replace": gettext_lazy("replace"),
}
WHY = {
    "drawing": gettext_lazy("the drawing's minimum"),
    "wall": gettext_lazy("the wall over the keyway"),
    "case": gettext_lazy("the hardened case"),
}
MOST_STEPS = 400
NOBODY: Mapping[str, str] = MappingProxyType({})


def plan_page(plan: RegrindPlan, *, at: datetime, unit: Unit | None = None) -> PlanPage:
    """All of a plan, as read from its row with ``task``; sentences in ``unit``, or each in the unit
    of its piece or set. Nineteen queries at most."""
    rows = list(
        RegrindPlanCopy.objects.filter(plan=plan).select_related("copy__tool_set").order_by("pk")
    )
    ids = [row.copy_id for row in rows]
    asks, answer = asks_from(plan.asks), plan.answer
    facts = read_facts(ids, at=at)
    asked = problem_of(facts, ids, asks)
    reader = _Reader(facts, ids, asks, unit, _unit(asked.unit))
    task = plan.task
    orders = RegrindOrder.objects.filter(plan=plan).order_by("pk").values_list("number", flat=True)
    currency = Shop.objects.values_list("currency", flat=True).first()
    return PlanPage(
        number=plan.number,
        name=plan.name,
        state=plan.state,
        state_word=plan.get_state_display(),
        unit=asked.unit,
        copies=tuple(copy_name(row.copy) for row in rows),
        made_at=plan.made_at,
        made_by=str(plan.made_by or ""),
        solved_at=plan.solved_at,
        version=plan.version,
        asks=asks,
        settings=_settings(asked, asks, facts),
        status=answer.get("status", ""),
        is_stale=bool(answer) and plan.problem_key != asked.key,
        is_proven=plan.is_proven,
        decisions=tuple(reader.decision(each) for each in answer.get("decisions", ())
                        if each["piece"] in reader.pieces),
        lines=tuple(reader.line(each) for each in answer.get("lines", ())),
        aims=_aims(answer.get("aims")),
        baseline=_aims((answer.get("baseline") or {}).get("aims")),
        baseline_amount_nm=(answer.get("baseline") or {}).get("amount_nm", 0),
        baseline_broken=reader.sentences((answer.get("baseline") or {}).get("broken", ())),
        other_sets=tuple(answer.get("other_sets", ())),
        unmeasured=tuple(
            UnmeasuredView(
                each["piece"], reader.names.get(each["piece"], ""), each["what"], each["changes"]
            )
            for each in answer.get("unmeasured", ())
        ),
        conflicts=tuple(
            ConflictView(reader.sentences(each["requirements"]), reader.sentences(each["frees"]))
            for each in answer.get("conflicts", ())
        ),
        settled=tuple(
            SettledView(code, reader.names.get(code, ""), pin.kind, pin.nm,
                        reader.unit_of_piece(code), code in asked.on_order)
            for code, pin in asks.pins.items()
        ),
        on_order=asked.on_order,
        on_order_names=tuple(reader.names.get(code, code) for code in asked.on_order),
        how=tuple(_step(each) for each in answer.get("how", ())[:MOST_STEPS]),
        orders=tuple(orders),
        currency=currency or "",
        task=task.pk if task else None,
        task_state=task.state if task else "",
        task_message=task.message if task else "",
        task_code=(task.result or {}).get("code", "") if task else "",
        task_progress=task.progress if task else 0.0,
    )  # fmt: skip


def sentence(said: Json, unit: Unit, names: Mapping[str, str] = NOBODY) -> Sentence:
    """A kept sentence in the reader's language and unit; pieces by their mark where they have
    one."""
    values = {
        key: ", ".join(names.get(word, word) for word in value.split(", "))
        if isinstance(value, str) else value
        for key, value in said["values"].items()
    }  # fmt: skip
    finding = Finding("regrind", said["level"], said["code"], _(said["template"]), values)
    return Sentence(said["code"], said["level"], finding.text(lambda nm: say_length(nm, unit)))


def _unit(written: str) -> Unit:
    return "in" if written == "in" else "mm"


class _Reader:
    """Reads an answer for one reader: in the ``unit`` that they chose, else each piece and each set
    in its own, and what is about neither in the ``plans``."""

    def __init__(
        self, facts: Facts, copy_ids: Iterable[int], asks: Asks, unit: Unit | None, plans: Unit
    ) -> None:
        self.asks, self.unit, self.plans = asks, unit, plans
        self.of_piece = {
            row.piece.code: _unit(row.piece.unit)
            for rows in facts.allotted.values() for row in rows
        }  # fmt: skip
        self.of_set = {copy_name(copy): _unit(copy.tool_set.unit) for copy in facts.copies.values()}
        self.pieces: dict[str, Any] = {}
        self.names = {
            row.piece.code: row.piece.mark
            for rows in facts.allotted.values() for row in rows if row.piece.mark
        }  # fmt: skip
        self.spots: dict[str, list[str]] = {}
        for pk in copy_ids:
            name = copy_name(facts.copies[pk])
            for row in facts.allotted.get(pk, ()):
                self.pieces[row.piece.code] = row.piece
                self.spots.setdefault(row.piece.code, []).append(
                    _("{set} pass {number} {shaft}").format(
                        set=name,
                        number=row.position.set_pass.number,
                        shaft=row.position.get_shaft_display(),
                    )
                )

    def unit_of_piece(self, code: str) -> Unit:
        return self.of_piece.get(code, self.plans)

    def unit_of_set(self, name: str) -> Unit:
        return self.of_set.get(name, self.plans)

    def sentences(self, said: Iterable[Json], own: Unit | None = None) -> tuple[Sentence, ...]:
        """``own``: the unit of what they are all about, else of what each names."""
        return tuple(
            sentence(each, self.unit or own or self._named(each["values"]), self.names)
            for each in said
        )

    def _named(self, values: Json) -> Unit:
        of_set = self.unit_of_set(values.get("set", ""))
        return self.of_piece.get(values.get("piece", ""), of_set)

    def decision(self, said: Json) -> DecisionView:
        row, pin = self.pieces[said["piece"]], self.asks.pins.get(said["piece"])
        least = said["least"]
        return DecisionView(
            piece=row.code,
            mark=row.mark,
            drawing=row.drawing.number,
            owner=row.owner.name,
            spots=tuple(self.spots[row.code]),
            kind=said["kind"],
            kind_word=str(KINDS[said["kind"]]),
            amount_nm=said["amount_nm"],
            width_nm=said["width_nm"],
            reasons=self.sentences(said["reasons"], _unit(row.unit)),
            sizes=tuple(
                SizeView(each["name"], each["before_nm"], each["after_nm"])
                for each in said["diameters"]
            ),
            least_nm=least["least_nm"] if least else None,
            least_why=str(WHY[least["why"]]) if least else "",
            left_before=said["left_before"],
            left=said["left"],
            pin=pin.kind if pin else "",
            pin_nm=pin.nm if pin else None,
            is_customers=not row.owner.is_shop,
            unit=row.unit,
        )

    def line(self, said: Json) -> LineView:
        passes: list[PassView] = []
        before: Json | None = None
        for each in said["passes"]:
            passes.append(_pass(each, before))
            before = each
        findings, own = said["findings"], self.unit_of_set(said["set"])
        return LineView(
            set_name=said["set"],
            mill=said["mill"],
            is_other=said["other"],
            passes=tuple(passes),
            warned=self.sentences((each for each in findings if each["level"] != "ok"), own),
            kept=sum(each["level"] == "ok" for each in findings),
            unit=own,
        )


def _pass(said: Json, before: Json | None) -> PassView:
    top, bottom = _shaft(said["top"]), _shaft(said["bottom"])
    return PassView(
        number=said["pass"],
        station=said["station"],
        top=top,
        bottom=bottom,
        centres_before_nm=_whole(said["centres_before_nm"]),
        centres_after_nm=_whole(said["centres_after_nm"]),
        pass_line_nm=round(said["pass_line_nm"]),
        top_shaft_nm=round(said["top_shaft_nm"]),
        top_turns=said["top_turns"],
        reset=said["reset"],
        step_nm=_stepped(said, before),
    )


def _stepped(said: Json, before: Json | None) -> int | None:
    """The step from the pass before, at equal rpm, on the bottom shaft where both drive it."""
    if before is None:
        return None
    for shaft in ("bottom", "top"):
        one, other = before[shaft], said[shaft]
        if one and other:
            return round(other["speed_after_nm"] - one["speed_after_nm"])
    return None


def _shaft(said: Json | None) -> ShaftView | None:
    if said is None:
        return None
    return ShaftView(
        said["piece"],
        said["before_nm"],
        said["after_nm"],
        round(said["speed_before_nm"]),
        round(said["speed_after_nm"]),
    )


def _whole(value: float | None) -> int | None:
    return None if value is None else round(value)


def _aims(said: Json | None) -> AimsView | None:
    return AimsView(**said) if said else None


def _step(said: Json) -> StepView:
    inputs = tuple((name, str(value)) for name, value in said["inputs"].items())
    return StepView(said["what"], said["formula"], said["source"], inputs, str(said["value"]))


def _settings(asked: Asked, asks: Asks, facts: Facts) -> tuple[SettingView, ...]:
    limits = asked.problem.limits
    days = facts.given.value("regrind_horizon")
    worth = {
        "allowance_nm": limits.allowance_nm,
        "step_nm": limits.step_nm,
        "face_from_degrees": limits.face_from_degrees,
        "usual_stock_nm": limits.usual_stock_nm,
        "least_wall_nm": limits.least_wall_nm,
        "ratio_percent": float(limits.ratio_tolerance * 100),
        "horizon_days": asks.own.get("horizon_days", days),
    }
    return tuple(SettingView(name, value, name in asks.own) for name, value in worth.items())
