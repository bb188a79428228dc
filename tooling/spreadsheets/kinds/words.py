"""Fields that several kinds of sheet share, and the trade's words for dimensions."""

from __future__ import annotations

from typing import Any

from tooling.spreadsheets.fields import Field, FieldType

BORE = ("bore", "bore dia", "bore diameter", "bore size", "id", "i.d.", "inside diameter")
DIMENSION_WORDS: dict[str, tuple[str, tuple[str, ...]]] = {
    "bore": (
        "Bore",
        (*BORE, "inner diameter", "hole", "hole dia", "arbor hole", "arbour hole", "fits shaft"),
    ),
    "keyway_width": (
        "Keyway width",
        ("keyway", "kw", "key width", "keyway w", "kwy width", "keyseat width", "key slot width"),
    ),
    "keyway_depth": (
        "Keyway depth",
        ("key depth", "keyway d", "kwy depth", "keyseat depth", "hub depth", "key slot depth"),
    ),
    "face_width": (
        "Face width",
        (
            *("width", "face", "roll width", "overall width", "wide", "thickness", "length", "len"),
            *("spacer length", "face length", "over faces", "width over faces"),
        ),
    ),
    "guide_offset": (
        "Guide offset",
        (
            *("inboard face to guide", "face to guide point", "guide", "guide point", "offset"),
            *("inboard face to guide point", "offset to guide plane", "face to centreline"),
            *("face to centerline", "c/l offset"),
        ),
    ),
    "drive_diameter": (
        "Drive diameter",
        (
            *("drive dia", "drive", "pitch diameter", "pitch dia", "pd", "p.d.", "dd"),
            *("driving diameter", "working diameter", "working dia"),
        ),
    ),
    "root_diameter": (
        "Root diameter",
        ("root dia", "root", "throat", "throat dia", "throat diameter", "rd", "min dia"),
    ),
    "outside_diameter": (
        "Outside diameter",
        (
            *("od", "o.d.", "outside dia", "outer diameter", "outer dia", "overall diameter"),
            *("flange diameter", "flange dia", "rim diameter", "max dia", "roll od"),
        ),
    ),
}
USUAL_MM: dict[str, tuple[float, float]] = {
    "bore": (8.0, 400.0),
    "keyway_width": (2.0, 80.0),
    "keyway_depth": (0.5, 40.0),
    "face_width": (0.02, 1_000.0),
    "guide_offset": (-1_000.0, 1_000.0),
    "drive_diameter": (15.0, 1_500.0),
    "root_diameter": (15.0, 1_500.0),
    "outside_diameter": (15.0, 1_500.0),
}
_PREFIXES: dict[str, tuple[str, tuple[str, ...]]] = {
    "": ("", ("", "drawn", "nominal", "nom", "print", "dwg")),
    "made_": ("as made", ("as made", "made", "as built", "new", "original", "initial", "as new")),
    "now_": (
        "now",
        ("", "now", "current", "present", "actual", "act", "today", "latest", "measured"),
    ),
    "least_": ("least", ("least", "min", "minimum", "min allowed", "scrap", "scrap at", "limit")),
    "before_": ("before", ("before", "old", "from", "prior", "pre")),
    "after_": ("after", ("after", "new", "to", "post", "ground to", "recut to")),
}
MOST_MM = 5_000.0


def words_for(dimension: str, prefix: str) -> tuple[str, ...]:
    """Every spelling of a dimension with a prefix, before and behind: "min OD", "OD min"."""
    label, words = DIMENSION_WORDS[dimension]
    both = [label.lower(), *words]
    spelled = []
    for before in _PREFIXES[prefix][1]:
        for word in both:
            spelled += [f"{before} {word}", f"{word} {before}"] if before else [word]
    return tuple(spelled)


def length(name: str, label: str, *words: str, **more: Any) -> Field:
    """A length that is above zero and below five metres unless said otherwise."""
    more = {"least": 0.000001, "most": MOST_MM, "type": FieldType.LENGTH, **more}
    return Field(name, label, words, **more)


def dimension(name: str, prefix: str = "", **more: Any) -> Field:
    """One of the eight dimensions, as drawn or with ``made_ now_ least_ before_ after_``."""
    label, _words = DIMENSION_WORDS[name]
    suffix = _PREFIXES[prefix][0]
    signed = name == "guide_offset"
    return Field(
        prefix + name,
        f"{label} {suffix}".strip(),
        words_for(name, prefix),
        FieldType.LENGTH,
        least=-MOST_MM if signed else 0.000001,
        most=MOST_MM,
        usual=USUAL_MM[name],
        **more,
    )


def dimensions(
    prefix: str = "", names: tuple[str, ...] = tuple(DIMENSION_WORDS)
) -> tuple[Field, ...]:
    """The dimensions with one prefix, in the order of the drawing."""
    return tuple(dimension(name, prefix) for name in names)


def sizes_in_order(prefix: str) -> tuple[tuple[str, str], ...]:
    """Which dimension can never exceed which: the bore the root, the root the outside."""
    pairs = (
        *(("bore", "root_diameter"), ("bore", "drive_diameter"), ("bore", "outside_diameter")),
        *(("root_diameter", "outside_diameter"), ("drive_diameter", "outside_diameter")),
    )
    return tuple((prefix + small, prefix + large) for small, large in pairs)


def code(name: str, label: str, *words: str, **more: Any) -> Field:
    return Field(name, label, words, **{"type": FieldType.CODE, "longest": 40, **more})


def text(name: str, label: str, *words: str, **more: Any) -> Field:
    return Field(name, label, words, **more)


def date(name: str, label: str, *words: str, **more: Any) -> Field:
    return Field(name, label, words, FieldType.DATE, **more)


def choice(name: str, label: str, *words: str, **more: Any) -> Field:
    return Field(name, label, words, FieldType.CHOICE, **more)


def yes_no(name: str, label: str, *words: str, **more: Any) -> Field:
    return Field(name, label, words, FieldType.YES_NO, **more)


def unit(**more: Any) -> Field:
    return Field(
        "unit",
        "Unit",
        ("units", "uom", "measured in", "dimensions in", "inch or mm", "inch/mm"),
        FieldType.UNIT,
        note="The unit in which this row is drawn or was written: mm or in.",
        example="mm",
        **more,
    )


CONDITIONS: dict[str, tuple[str, ...]] = {
    "clean": (),
    "sound": ("good", "ok", "okay", "fit", "usable", "serviceable", "used"),
    "new": ("new, not proved", "unused", "unproved"),
    "dirty": ("to clean", "needs cleaning"),
    "marked": ("scored", "scratched", "marks"),
    "chipped": ("chip",),
    "cracked": ("crack", "broken"),
    "build_up": ("buildup", "pick-up", "pickup", "zinc"),
    "chrome_worn": ("worn chrome", "chrome gone"),
    "hold": ("on hold", "quarantine"),
}


def condition(**more: Any) -> Field:
    return choice("condition", "Condition", "cond", "status", "state", choices=CONDITIONS, **more)


def note() -> Field:
    return text("note", "Note", "notes", "remark", "remarks", "comment", "comments")
