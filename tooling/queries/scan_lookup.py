"""What the texts of a batch of scans name, found by a fixed number of queries.

A text is a label code (any kind), or else a mark or an old number of a piece; where a place is
asked for, a place's name or a person's user name does too.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass, field

from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from tooling.engineering.codes import CODE_LENGTH, fold, looks_like_code, read_code
from tooling.errors import Conflict, ToolingError, Unknown
from tooling.models import Kit, KitPosition, LabelEvent, Piece, Place, Station, StockLine, ToolSet
from tooling.queries.prefixes import capitals
from tooling.queries.prepared import Asked, Prepared, columns, made, one_trip

PIECE_LETTERS = "RSDLH"
PLACE_LETTERS = "PC"
Subject = int | StockLine | Place | ToolSet | Kit
"""What a scan moves; a piece is named by its id, since there may be a thousand."""


@dataclass(frozen=True)
class Target:
    """Where a scan puts things: a place, and the kit when its own label was scanned."""

    place: Place
    kit: Kit | None = None


@dataclass
class Lookup:
    """The finds of one batch, by folded code or by mark."""

    pieces: dict[str, int] = field(default_factory=dict)
    stock: dict[str, StockLine] = field(default_factory=dict)
    places: dict[str, Place] = field(default_factory=dict)
    sets: dict[str, ToolSet] = field(default_factory=dict)
    kits: dict[str, Kit] = field(default_factory=dict)
    stations: dict[str, Station] = field(default_factory=dict)
    marks: dict[str, list[int]] = field(default_factory=dict)
    names: dict[str, list[Place]] = field(default_factory=dict)
    void: dict[str, str] = field(default_factory=dict)

    def subject(self, text: str, *, kit: Kit | None = None) -> Subject:
        """What the text names. Raises ``unknown_code``, ``bad_check_character``, ``void_label``,
        ``ambiguous_mark`` or ``not_a_piece``; a kit decides between pieces of the same mark."""
        marked = self.marks.get(text.strip().upper(), [])
        text = without_copy_letter(text)
        if not looks_like_code(text) or (marked and fold(text) not in self.pieces):
            return self._marked(text, marked, kit)
        code = read_code(text).text
        self._check_not_void(code)
        letter = code[0]
        if letter in PIECE_LETTERS and code in self.pieces:
            return self.pieces[code]
        found = (
            self.stock.get(code)
            or self.sets.get(code)
            or self.kits.get(code)
            or (self.places.get(code) if letter == "C" else None)
        )
        if found is not None:
            return found
        if code in self.places or code in self.stations:
            raise ToolingError(
                "not_a_piece",
                _("{label} is the label of a place. Scan it first, as the place; then scan what "
                  "you put there."),
                label=code,
            )  # fmt: skip
        raise _unknown(text)

    def code_of(self, text: str) -> str:
        """The folded code that the text may be, without a copy's letter."""
        return fold(without_copy_letter(text))

    def piece_of(self, code: str) -> int:
        """The piece whose own label this is. Raises ``void_label``."""
        folded = fold(code)
        self._check_not_void(folded)
        return self.pieces[folded]

    def target(self, text: str) -> Target:
        """The place that the text names. Raises ``unknown_code``, ``bad_check_character``,
        ``void_label``, ``not_a_place``, ``kit_closed`` or ``kit_has_no_place``."""
        if not looks_like_code(text):
            return Target(self._named(text))
        code = read_code(text).text
        self._check_not_void(code)
        if code in self.places:
            return Target(self.places[code])
        if code in self.stations:
            return Target(self.stations[code].place)
        if code in self.kits:
            return Target(_gathering_place(self.kits[code]), self.kits[code])
        if code in self.pieces or code in self.stock or code in self.sets:
            raise ToolingError(
                "not_a_place",
                _("{label} is no place but something that lies in one. Scan the place, cart, kit, "
                  "station or person first."),
                label=code,
            )  # fmt: skip
        raise _unknown(text)

    def _check_not_void(self, code: str) -> None:
        if code in self.void:
            raise void_label(code, self.void[code])

    def _marked(self, text: str, marked: list[int], kit: Kit | None) -> int:
        if not marked:
            raise _unknown(text)
        if len(marked) > 1 and kit is not None:
            wanted = KitPosition.objects.filter(kit=kit, piece_id__in=marked)
            claimed = list(wanted.values_list("piece_id", flat=True))
            if len(claimed) == 1 and claimed[0] is not None:
                return claimed[0]
        if len(marked) > 1:
            raise _ambiguous(text, marked)
        return marked[0]

    def _named(self, text: str) -> Place:
        found = self.names.get(text.strip().upper(), [])
        if len(found) == 1:
            return found[0]
        if not found:
            raise _unknown(text)
        raise Conflict(
            "ambiguous_place",
            _("{count} places are called “{text}”: {places}. Scan the label of the one you mean."),
            count=len(found),
            text=text,
            places="; ".join(f"{place.path_name} ({place.code})" for place in found[:5]),
        )


_PIECES = Prepared(
    lambda codes: Piece.objects.filter(code__in=codes).order_by().values_list("code", "pk")
)
_PLACES = Prepared(
    lambda codes: Place.objects.filter(code__in=codes).order_by().values_list(*columns(Place))
)
_VOID = Prepared(
    lambda codes: (
        LabelEvent.objects.filter(code__in=codes, what="void").order_by("id").values_list("code")
    )
)


@dataclass(frozen=True)
class LabelsAsked:
    """What most labels of a batch are, under way: pieces, places, and whether they are void."""

    codes: frozenset[str]
    pieces: Asked
    places: Asked
    void: Asked

    def of(self, letters: str) -> list[str]:
        """The codes of these kinds of label."""
        return [code for code in self.codes if code[0] in letters]


def ask_labels(codes: Iterable[str], targets: Iterable[str]) -> LabelsAsked:
    """Ask what ``look_up`` of these texts, or of some of them, will want to know."""
    short = {without_copy_letter(text) for text in codes} | set(targets)
    folded = frozenset(fold(text) for text in short if looks_like_code(text))
    pieces = [code for code in folded if code[0] in PIECE_LETTERS]
    places = [code for code in folded if code[0] in PLACE_LETTERS]
    with one_trip():
        return LabelsAsked(folded, _PIECES.ask(pieces), _PLACES.ask(places), _VOID.ask(folded))


def look_up(
    codes: Iterable[str], targets: Iterable[str], asked: LabelsAsked | None = None
) -> Lookup:
    """Find everything these texts may name; no query for a kind of label that none of them is.
    ``asked``: where ``ask_labels`` of them was called before."""
    subjects, wheres = set(codes), set(targets)
    asked = asked or ask_labels(subjects, wheres)
    of, found = asked.of, Lookup()
    found.pieces = dict(asked.pieces.rows())
    if wanted := of("B"):
        rows = StockLine.objects.filter(code__in=wanted).select_related("drawing", "place")
        found.stock = {line.code: line for line in rows}
    places = [made(Place, row) for row in asked.places.rows()]
    found.places = {each.code: each for each in places}
    if wanted := of("T"):
        found.sets = {each.code: each for each in ToolSet.objects.filter(code__in=wanted)}
    if wanted := of("K"):
        kits = Kit.objects.filter(number__in=wanted).select_related("place", "job")
        found.kits = {kit.number: kit for kit in kits}
    if wanted := of("M"):
        stations = Station.objects.filter(code__in=wanted).select_related("place")
        found.stations = {station.code: station for station in stations}
    _find_marks(found, subjects)
    _find_names(found, wheres)
    found.void = _replaced_by(asked.void)
    return found


def without_copy_letter(text: str) -> str:
    """A set's code may be followed by the letter of the copy that is meant: ``T000001X-A``."""
    folded = fold(text)
    is_set = folded[:1] == "T" and CODE_LENGTH < len(folded) <= CODE_LENGTH + 4
    return folded[:CODE_LENGTH] if is_set and looks_like_code(folded[:CODE_LENGTH]) else text


def _find_marks(found: Lookup, texts: set[str]) -> None:
    unknown = {text.strip() for text in texts if fold(text) not in found.pieces} - {""}
    if not unknown:
        return
    keys = {form for text in unknown for form in capitals(text)}
    marked = Piece.objects.filter(mark_key__in=keys).values_list("mark_key", "pk")
    old = Piece.objects.filter(aliases__text_key__in=keys).values_list("aliases__text_key", "pk")
    for key, pk in sorted({*marked, *old}):
        found.marks.setdefault(key.upper(), []).append(pk)


def _find_names(found: Lookup, texts: set[str]) -> None:
    names = {text.strip() for text in texts if not looks_like_code(text)} - {""}
    if not names:
        return
    wanted = Q()
    for name in names:
        wanted |= (
            Q(name__iexact=name) | Q(path_name__iexact=name) | Q(person__username__iexact=name)
        )
    for place in Place.objects.filter(wanted, is_active=True).select_related("person"):
        user = place.person.username if place.person else ""
        for key in {place.name.upper(), place.path_name.upper(), user.upper()} - {""}:
            found.names.setdefault(key, []).append(place)


def void_labels(codes: Collection[str]) -> dict[str, str]:
    """Code of a void label → the newest code that took its place, or nothing.

    Two queries where a label is void, and one more for every time that the newer one was
    replaced in its turn.
    """
    return _replaced_by(_VOID.ask(codes))


def _replaced_by(asked: Asked) -> dict[str, str]:
    void = {code: "" for (code,) in asked.rows()}
    replaced: dict[str, str] = {}
    ends = set(void)
    while ends:
        newer = LabelEvent.objects.filter(replaces__in=ends, what="reissue").order_by("id")
        found = dict(newer.values_list("replaces", "code"))
        replaced |= found
        ends = set(found.values())
    return {code: _last(replaced, code) for code in void}


def _last(replaced: dict[str, str], code: str) -> str:
    newest = ""
    while code in replaced:
        newest = code = replaced[code]
    return newest


def void_label(code: str, newer: str) -> Conflict:
    """The problem of a label that was made void, naming the one that replaced it."""
    if newer:
        return Conflict(
            "void_label",
            _("The label {label} is void; {newer} took its place. Take the old label off and scan "
              "the new one, or print it again."),
            label=code,
            newer=newer,
        )  # fmt: skip
    return Conflict(
        "void_label",
        _("The label {label} is void and nothing took its place. Find the piece by its mark and "
          "issue a label for it."),
        label=code,
    )  # fmt: skip


def _gathering_place(kit: Kit) -> Place:
    if kit.closed_at is not None or kit.state == "closed":
        raise Conflict(
            "kit_closed",
            _("Kit {kit} for job {job} is closed; nothing can be staged into it. Scan the kit "
              "that is being gathered."),
            kit=kit.number,
            job=kit.job.number,
        )  # fmt: skip
    if kit.place is None:
        raise Conflict(
            "kit_has_no_place",
            _("Kit {kit} for job {job} has no gathering place yet. Choose its cart, plate or "
              "pegs on the kit's page, then scan again."),
            kit=kit.number,
            job=kit.job.number,
        )  # fmt: skip
    return kit.place


def _unknown(text: str) -> Unknown:
    return Unknown(
        "unknown_code",
        _("Nothing here has the code, mark or old number “{text}”. Check it, or search by "
          "drawing and size and tick the piece on the list."),
        text=text if len(text) <= 60 else text[:59] + "…",
    )  # fmt: skip


def _ambiguous(text: str, ids: list[int]) -> Conflict:
    pieces = Piece.objects.filter(pk__in=ids).select_related("place", "drawing").order_by("code")
    said = [f"{piece.code} ({piece.drawing.number}, {piece.place.path_name})" for piece in pieces]
    return Conflict(
        "ambiguous_mark",
        _("{count} pieces bear “{text}”: {pieces}. Scan the label, or tick the right one on the "
          "list."),
        count=len(ids),
        text=text,
        pieces="; ".join(said[:6]) + ("; …" if len(said) > 6 else ""),
    )  # fmt: skip
