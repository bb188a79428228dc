"""The setup sheet in words and in the reader's unit: what paper and the tablet page both say."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, get_args

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from tooling.engineering.feelers import Pack
from tooling.engineering.last_good import Struck
from tooling.engineering.lengths import format_length
from tooling.engineering.measures import is_length, shown_measure
from tooling.models import Method
from tooling.paper.setup_rows import (
    Caution,
    SettingLine,
    SetupPaper,
    ShaftPart,
    StackLine,
    StationPart,
)
from tooling.queries.kit_views import PositionView
from tooling.queries.pull_list import caution_words
from tooling.queries.setup_sheet_views import (
    LastGood,
    SetupSheetView,
    SheetGap,
    SheetMoves,
    SheetPiece,
    SheetSetting,
    SheetShaft,
    SheetSide,
    SheetStation,
)
from tooling.templatetags.rollroom import STATE_WORDS, mass

CAUTIONS: dict[str, Caution] = {each: each for each in get_args(Caution)}
METHODS = dict(Method.choices)
FILLS = {
    "inboard": gettext_lazy("inboard fill"),
    "middle": gettext_lazy("middle fill"),
    "outboard": gettext_lazy("outboard fill"),
}
FACES = {
    "inboard": gettext_lazy("mark faces inboard"),
    "outboard": gettext_lazy("mark faces outboard"),
}
SIDES = {"drive": gettext_lazy("drive side"), "operator": gettext_lazy("operator side")}
STRUCK = {
    Struck.MILL: gettext_lazy("another mill"),
    Struck.METHOD: gettext_lazy("found in another way: {method}"),
    Struck.LOADED: gettext_lazy("loaded differently"),
    Struck.ZERO: gettext_lazy("the screws' zero has moved since"),
    Struck.STRIP: gettext_lazy("strip not known"),
    Struck.DIAMETERS: gettext_lazy("diameters at the gap point not known"),
    Struck.LEAD: gettext_lazy("lead of the screw not known"),
}
PROOF = {
    "proved": (gettext_lazy("Proved"), gettext_lazy("A good run was made with these numbers.")),
    "unproved": (
        gettext_lazy("Numbers unproved"),
        gettext_lazy("Pieces or numbers changed since the last good run."),
    ),
    "drawn": (
        gettext_lazy("Numbers unproved"),
        gettext_lazy("No good run was made with them yet."),
    ),
    "none": (
        gettext_lazy("Numbers unproved"),
        gettext_lazy("The set has no setup chart for this mill."),
    ),
}


class SheetWords:
    """Says one sheet in one unit: the reader's own, else that in which the set is drawn."""

    def __init__(self, view: SetupSheetView, unit: Any, *, drawn: bool = True) -> None:
        self.view, self.unit, self.drawn = view, unit, drawn

    def length(self, nm: int | None, *, sign: bool = False) -> str:
        """A length with its unit; a dash where there is none."""
        if nm is None:
            return "–"
        plus = "+" if sign and nm > 0 else ""
        return f"{plus}{format_length(nm, self.unit)} {self.unit}".replace("-", "−")

    def sheet(self) -> SetupPaper:
        view = self.view
        word, why = PROOF[view.proof]
        return SetupPaper(
            title=f"{view.job.set_number} · {view.job.mill_number}",
            kit_code=view.number,
            version=view.version,
            revision=_("chart {rev}").format(rev=view.chart_revision)
            if view.chart_revision
            else "",
            printed_at=timezone.localtime(view.made_at),
            is_proved=view.proof == "proved",
            proof=str(word),
            proof_why=str(why),
            facts=self._facts(),
            notes=tuple(self._notes()),
            stations=tuple(self._station(each) for each in view.occupied),
            line=tuple(self._tool(each) for each in view.line),
        )

    def _facts(self) -> tuple[tuple[str, str], ...]:
        view, job = self.view, self.view.job
        starts = date_format(timezone.localtime(job.starts_at), "Y-m-d H:i")
        name = f"{job.set_number} {job.set_name}"
        weighs = mass(view.kg)
        if view.unknown_masses:
            more = _("{kg} and {n} of unknown mass")
            weighs = more.format(kg=weighs, n=view.unknown_masses)
        return (
            (_("Set"), _("{set}, revision {rev}").format(set=name, rev=view.set_revision)),
            (_("Variant, copy"), " · ".join(filter(None, (job.variant, view.copy_letter))) or "–"),
            (_("Mill"), f"{job.mill_number} {job.mill}"),
            (_("Job"), f"{job.number}, {starts}"),
            (_("Strip"), self._strip() or "–"),
            (_("Kit"), f"{view.number} · {view.state_word} · {weighs}"),
        )

    def _strip(self) -> str:
        job = self.view.job
        size = self.length(job.thickness_nm) if job.thickness_nm is not None else ""
        if size and job.width_nm is not None:
            size = (
                f"{format_length(job.thickness_nm or 0, self.unit)} × {self.length(job.width_nm)}"
            )
        return ", ".join(filter(None, (job.grade, size, job.coating)))

    def _notes(self) -> Iterator[str]:
        view = self.view
        if view.is_turned:
            yield _("Turned for the other hand: stacks are mirrored from the shoulder.")
        if view.last is not None:
            yield self._last_words()
        else:
            yield _("No good run of this set is on record: there are no last good numbers.")
        strip = view.strip
        if strip.is_measured and strip.thickness_nm is not None:
            yield _("Gaps are for strip of {strip} as measured.").format(
                strip=self.length(strip.thickness_nm)
            )
        elif strip.thickness_nm is not None:
            yield _(
                "Gaps are for strip of {strip}: planned thickness, not measured. Measure the "
                "strip first."
            ).format(strip=self.length(strip.thickness_nm))
        if view.occupied:
            yield _("Ø is the drive diameter. Sizes are as measured, else as made or drawn.")
        idle = ", ".join(map(str, view.idle))
        if idle and view.occupied:
            yield ngettext("Idle station: {n}.", "Idle stations: {n}.", len(view.idle)).format(
                n=idle
            )
        if view.proof != "none" and view.off_the_chart:
            yield _("Not where the chart puts them, so without gaps: stations {n}.").format(
                n=", ".join(map(str, view.off_the_chart))
            )

    def _last_words(self) -> str:
        last = self.view.last
        assert last is not None
        good = date_format(timezone.localtime(last.good_at), "Y-m-d")
        said = _("Last good: kit {kit}, {day}, on {mill}, strip {strip}.").format(
            kit=last.number, day=good, mill=last.mill, strip=self.length(last.strip_nm)
        )
        if not last.is_this_mill:
            said += " " + _("Numbers of another mill do not hold here and are struck out.")
        return said

    def _station(self, station: SheetStation) -> StationPart:
        number = _("Station {n}").format(n=station.number)
        if station.pass_number is not None:
            number += " · " + _("pass {n}").format(n=station.pass_number)
        title = f"{number} {station.pass_name}".strip()
        shafts = [each for each in (station.top, station.bottom) if each.pieces]
        return StationPart(
            number=station.number,
            title=title,
            code=station.code,
            shafts=tuple(self._shaft(each) for each in shafts),
            side=tuple(self._side(each) for each in station.side),
            gap=tuple(self._gap(station.gap)) if station.gap else (),
            problems=tuple(self._problems(station.gap)) if station.gap else (),
            moves=tuple(self._moves(station.moves)) if station.moves else (),
            settings=tuple(self._setting(each) for each in station.settings),
            note=station.note,
        )

    def _shaft(self, shaft: SheetShaft) -> ShaftPart:
        title = (
            _("Top, from the shoulder") if shaft.which == "top" else _("Bottom, from the shoulder")
        )
        count = ngettext("{n} piece", "{n} pieces", len(shaft.pieces)).format(n=len(shaft.pieces))
        lines = tuple(self._piece(each) for each in shaft.pieces)
        return ShaftPart(shaft.which, title, f"{count}, {mass(shaft.mass_kg)}", lines)

    def _piece(self, each: SheetPiece) -> StackLine:
        view = each.position
        spacer = view.kind in ("spacer", "shim")
        width = self.length(each.length_nm) if each.length_nm is not None else ""
        name = view.mark or (width if spacer and width else view.drawing)
        drive = ""
        if not spacer and view.drive_diameter_nm:
            drive = f"Ø {format_length(view.drive_diameter_nm, self.unit)}"
        weighs = "" if view.mass_kg is None else mass(view.mass_kg)
        fill = str(FILLS[each.fill]) if each.fill else ""
        faces = str(FACES[each.faces]) if each.faces and not spacer else ""
        drawing = view.drawing if name != view.drawing else ""
        split = _("split") if view.is_split else ""
        return StackLine(
            turn=f"{each.turn}.",
            name=name,
            code=view.code,
            what=" · ".join(filter(None, (drawing, split, fill, faces))),
            figures=(width if name != width else "", drive, weighs),
            note=self._mind(view),
            caution=CAUTIONS.get(view.caution, ""),
            is_spacer=spacer,
            is_here=str(view.state) == "here",
        )

    def _mind(self, view: PositionView) -> str:
        """What must not be overlooked: its lift, where it is while not here, why it stands in."""
        state = ""
        if str(view.state) != "here":
            word = capfirst(str(STATE_WORDS[str(view.state)]))
            state = f"{word}: {view.place}" if view.place else word
        stands_in = _("stands in: {why}").format(why=view.substitute_reason)
        parts = (
            caution_words(view.caution), state,
            stands_in if view.is_substitute and view.substitute_reason else "",
            view.revision_note,
        )  # fmt: skip
        return " ".join(filter(None, parts))

    def _side(self, each: SheetSide) -> StackLine:
        view = each.position
        height = in_out = tilt = ""
        if each.height_nm is not None:
            height = _("height {n}").format(n=self.length(each.height_nm))
        if each.in_out_nm is not None:
            in_out = _("in or out {n}").format(n=self.length(each.in_out_nm, sign=True))
        if each.tilt_degrees is not None:
            tilt = _("tilt {n}°").format(n=f"{each.tilt_degrees:g}")
        weighs = "" if view.mass_kg is None else mass(view.mass_kg)
        return StackLine(
            turn="",
            name=view.mark or view.drawing,
            code=view.code,
            what=" · ".join(filter(None, (view.drawing if view.mark else "", view.side))),
            figures=tuple(filter(None, (height, in_out, tilt, weighs))),
            note=self._mind(view),
            caution=CAUTIONS.get(view.caution, ""),
            is_here=str(view.state) == "here",
        )

    def _tool(self, view: PositionView) -> StackLine:
        return StackLine(
            turn="",
            name=view.mark or view.drawing,
            code=view.code,
            what=" · ".join(filter(None, (view.drawing if view.mark else "", view.where))),
            figures=() if view.mass_kg is None else (mass(view.mass_kg),),
            note=self._mind(view),
            caution=CAUTIONS.get(view.caution, ""),
            is_here=str(view.state) == "here",
        )

    def _gap(self, gap: SheetGap) -> Iterator[tuple[str, str]]:
        """Target with how it comes about and where it is measured; the packs; the centres."""
        if gap.target_nm is None:
            said = _("none charted")
            if gap.allowance_nm is not None:
                said = _("strip {n}; the job names no strip").format(
                    n=self.length(gap.allowance_nm, sign=True)
                )
            yield _("Gap"), said
        else:
            yield _("Gap"), ", ".join(filter(None, self._target(gap)))
        if gap.packs:
            yield _("Check with"), self._packs(gap)
        if gap.centres_nm is not None:
            said = self.length(gap.centres_nm)
            if gap.is_by_drive:
                said += " " + _("(by the drive diameters: none are kept at the gap point)")
            elif gap.unmeasured:
                said += " " + _("(diameters not measured)")
            yield _("Shaft centres"), said

    def _target(self, gap: SheetGap) -> Iterator[str]:
        target = self.length(gap.target_nm)
        if gap.allowance_nm is not None:
            target += " " + _("(strip {n})").format(n=self.length(gap.allowance_nm, sign=True))
        yield target
        if gap.point:
            yield _("at {point}").format(point=gap.point)
        if gap.degrees:
            yield _("face inclined {n}°").format(n=f"{gap.degrees:g}")
        if gap.method:
            yield str(METHODS.get(gap.method, gap.method))
            yield _("loaded") if gap.is_loaded else _("unloaded")

    def _packs(self, gap: SheetGap) -> str:
        if gap.packs == "spacers":
            return _("set by spacers: the face is near-vertical")
        if gap.packs == "other" or gap.go is None or gap.no_go is None:
            seen = "" if gap.feeler_nm in (None, gap.target_nm) else self.length(gap.feeler_nm)
            said = _("strip sample, plug or solder")
            if gap.method and gap.method != "feeler":
                said = str(METHODS.get(gap.method, gap.method))
            return f"{said}, {seen}" if seen else said
        packs = _("GO {go} · NO-GO {no_go}").format(
            go=self._pack(gap.go), no_go=self._pack(gap.no_go)
        )
        if gap.feeler_nm != gap.target_nm:
            packs += " " + _("(the feeler sees {n})").format(n=self.length(gap.feeler_nm))
        return packs

    def _pack(self, pack: Pack) -> str:
        total = self.length(pack.total_nm)
        if len(pack.leaves_nm) == 1:
            return total
        leaves = " + ".join(format_length(nm, self.unit) for nm in pack.leaves_nm)
        return f"{total} ({leaves})"

    def _problems(self, gap: SheetGap) -> Iterator[str]:
        if gap.centres_problem == "below_stop":
            yield _("These centres are below the mill's stop. Do not force it: ask the engineer.")
        if gap.centres_problem == "above_most":
            yield _("These centres are beyond what the station opens to. Ask the engineer.")

    def _moves(self, moves: SheetMoves) -> Iterator[str]:
        """What a recut or other rolls make of the last good positions."""
        if moves.is_none:
            return
        parts = []
        told = (
            (_("top shaft"), moves.top_nm, moves.top_turns),
            (_("bottom shaft"), moves.bottom_nm, moves.bottom_turns),
        )
        for name, nm, turns in told:
            if nm:
                way = _("up") if nm > 0 else _("down")
                said = f"{name} {way} {self.length(abs(nm))}"
                if turns is not None:
                    said += " " + _("({n} turns)").format(n=f"{abs(turns):.3g}")
                parts.append(said)
        yield _("Rolls differ from the last good run: {moves}.").format(moves=", ".join(parts))
        if moves.reset:
            way = _("rises") if moves.pass_line_nm > 0 else _("falls")
            yield _("The pass line {way} {n}: set guides, side rolls and entry again.").format(
                way=way, n=self.length(abs(moves.pass_line_nm))
            )

    def _setting(self, setting: SheetSetting) -> SettingLine:
        name = setting.name or _("Gap")
        if setting.end:
            ends = {"inboard": _("inboard end"), "outboard": _("outboard end")}
            name = f"{name}, {ends[setting.end]}"
        unit = setting.unit if setting.name else self.unit
        target = self._value(setting.target_nm, setting.target, unit)
        last = setting.last
        if last is None:
            return SettingLine(name, target)
        was = self._value(last.was_nm, last.was, unit)
        if last.struck:
            return SettingLine(name, target, was, is_struck=True, why=self._why(last))
        now = self._value(last.now_nm, last.now, unit)
        why = _("was {n}").format(n=was) if now != was else ""
        if last.reset:
            why = _("set it again: the pass line has moved")
        return SettingLine(name, target, now, why=why)

    def _value(self, nm: int | None, number: float | None, unit: str) -> str:
        if nm is not None:
            if is_length(unit) and self.drawn:
                return shown_measure(nm, None, unit).replace("-", "−")
            return self.length(nm)
        return shown_measure(None, number, unit).replace("-", "−")

    def _why(self, last: LastGood) -> str:
        method = str(METHODS.get(last.method, last.method)) or _("not said")
        return "; ".join(str(STRUCK[each]).format(method=method) for each in last.struck)
