"""Sheets of owners and places."""

from __future__ import annotations

from tooling.spreadsheets.fields import Field, FieldType, Kind
from tooling.spreadsheets.kinds.words import code, length, text, yes_no

PLACE_KINDS: dict[str, tuple[str, ...]] = {
    "area": ("room", "zone", "bay", "building", "hall", "toolroom", "crib"),
    "rack": ("racking", "cabinet", "stand"),
    "shelf": ("level", "tier"),
    "bin": ("box", "drawer", "tray"),
    "peg": ("pin", "post"),
    "cart": ("trolley", "wagon", "buggy", "dolly"),
    "plate": ("raft", "pallet"),
    "station": (),
    "grinder": ("grinding shop", "regrinder"),
    "customer": ("owner",),
    "person": ("employee",),
    "sister": ("sister plant", "other plant", "plant"),
    "lost": (),
    "scrap": (),
    "unknown": ("not yet placed",),
}

OWNERS = Kind(
    "owners",
    "Owners",
    (
        code("code", "Code", "owner code", "short name", "customer no", "cust no", "abbr",
             "customer code", "owner no", "customer number", required=True, longest=20,
             example="MERID"),
        text("name", "Name", "owner", "owner name", "customer", "customer name", "company",
             required=True, longest=120, example="Meridian Shelving"),
        yes_no("is_shop", "Our own shop", "own", "ours", "house", "shop", "is shop", example="no"),
        text("contact", "Contact", "contact person", "email", "e-mail", "phone", "attn",
             longest=200),
        text("consent_reference", "Consent", "consent reference", "written consent",
             "consent on file", "permission", longest=120,
             note="Where the consent is filed under which other jobs may use these pieces."),
        text("insurance_reference", "Insurance", "insurance reference", "policy", "policy no",
             "insured under", longest=120,
             note="Where it is written under which policy these pieces are insured."),
    ),
    keys=(("code",),),
    words=("owners", "customers", "clients"),
)  # fmt: skip

PLACES = Kind(
    "places",
    "Places",
    (
        text("name", "Name", "place", "location", "loc", "bin", "place name", "location name",
             "position", required=True, longest=80, example="Shelf 3"),
        text("inside", "Inside", "parent", "in", "within", "is in", "belongs to", "under",
             "part of", "parent location", "located in", longest=600, example="Rack A",
             note="The name of the place that it is in; write “Rack A / Shelf 3” for places whose "
             "name comes more than once. Blank: an outermost place."),
        Field("kind", "Kind", ("type", "place kind", "location type", "kind of place"),
              FieldType.CHOICE, required=True, choices=PLACE_KINDS, example="shelf"),
        code("code", "Label code", "code", "label", "barcode", "qr", longest=12,
             note="Leave blank: codes are given when labels are made."),
        Field("walking_order", "Walking order", ("order", "sequence", "seq", "walk", "walk order"),
              FieldType.INTEGER, least=0, most=1_000_000, example="30"),
        Field("max_load", "Most load", ("capacity", "max load", "load limit", "wll", "swl",
              "rated load", "weight limit", "max weight"), FieldType.MASS, least=0.001,
              most=100_000),
        length("height", "Height of hands", "height", "shelf height", "hand height",
               "height above floor", least=0.0),
        code("owner", "Owner", "customer", "owner code", longest=120),
        text("home", "Home", "home place", "belongs at", "kept at", longest=600,
             example="Rack C", note="Of a cart or plate: the place where it belongs."),
    ),
    keys=(("name", "inside"),),
    keys_optional=frozenset({"inside"}),
    words=("places", "locations", "racks", "bins", "storage"),
)  # fmt: skip
