"""What is known of a piece for the question where its label may sit."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Max, Q
from django.utils.translation import gettext_lazy as _

from tooling.engineering.codes import fold, looks_like_code, read_code
from tooling.errors import Unknown
from tooling.models import DrawingKind, DrawingRevision, Piece, SetPosition
from tooling.queries.pieces import size_of
from tooling.queries.scan_lookup import void_label, void_labels

SAME_BORE_NM = 200_000
"""Bores that differ by less than 0.2 mm go on the same shaft."""


@dataclass(frozen=True)
class SiteFacts:
    """A piece's own sizes (nm), measured before made before drawn, and what clamps it.

    ``seat_from`` says where the seat comes from: *neighbour*, *spacer* or *guess*.
    """

    code: str
    named: str
    mark: str
    mark_place: str
    kind: str
    unit: str
    outside_nm: int | None
    bore_nm: int | None
    width_nm: int | None
    root_nm: int | None
    keyway_depth_nm: int | None
    seat_nm: int | None
    seat_from: str

    @property
    def is_roll(self) -> bool:
        return self.kind in (DrawingKind.ROLL, DrawingKind.SIDE_ROLL)

    @property
    def to_etch(self) -> str:
        return self.mark or self.code


def site_facts(text: str) -> SiteFacts:
    """The piece with this label code. At most five queries.

    Raises Unknown ``unknown_code``, Conflict ``void_label``, what ``read_code`` raises.
    """
    code = read_code(text).text if looks_like_code(text) else fold(text)
    piece = Piece.objects.select_related("drawing", "revision").filter(code=code).first()
    if piece is None:
        for old, newer in void_labels([code]).items():
            raise void_label(old, newer)
        raise Unknown(
            "unknown_code",
            _("No piece has the code “{code}”. Scan its label, or come here from its page."),
            code=text[:60],
        )
    bore = size_of(piece, "bore")
    seat, seat_from = _seat(piece, bore)
    return SiteFacts(
        code=piece.code,
        named=f"{piece.mark} {piece.copy_letter}".strip() or piece.drawing.number,
        mark=piece.mark,
        mark_place=piece.get_mark_place_display(),
        kind=piece.drawing.kind,
        unit=piece.unit,
        outside_nm=size_of(piece, "outside_diameter") or size_of(piece, "drive_diameter"),
        bore_nm=bore,
        width_nm=size_of(piece, "face_width"),
        root_nm=size_of(piece, "root_diameter") or size_of(piece, "drive_diameter"),
        keyway_depth_nm=size_of(piece, "keyway_depth"),
        seat_nm=seat,
        seat_from=seat_from,
    )


def _seat(piece: Piece, bore: int | None) -> tuple[int | None, str]:
    """Up to which diameter the faces are clamped: the largest roll beside it in its sets, else
    the largest spacer of its bore, else one and a half times the bore."""
    if bore is None:
        return None, ""
    if beside := _largest(_neighbours(piece)):
        return beside, "neighbour"
    spacers = Q(drawing__kind=DrawingKind.SPACER)
    spacers &= Q(bore_nm__range=(bore - SAME_BORE_NM, bore + SAME_BORE_NM))
    if spacer := _largest(spacers):
        return spacer, "spacer"
    return bore * 3 // 2, "guess"


def _neighbours(piece: Piece) -> Q:
    """Drawings that stand next to the piece's on the same shaft of a pass."""
    places = SetPosition.objects.filter(allotments__piece=piece)
    beside = Q(pk=None)
    for set_pass, shaft, order in places.values_list("set_pass", "shaft", "order")[:20]:
        beside |= Q(set_pass=set_pass, shaft=shaft, order__in=(order - 1, order + 1))
    wanted = SetPosition.objects.filter(beside).exclude(shaft="side")
    return Q(drawing__in=wanted.values("drawing"))


def _largest(which: Q) -> int | None:
    rows = DrawingRevision.objects.filter(which, is_current=True)
    return rows.aggregate(most=Max("outside_diameter_nm"))["most"]
