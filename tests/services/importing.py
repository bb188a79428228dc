"""Short ways for tests to bring sheets in, and the sheets of a small shop."""

from __future__ import annotations

from datetime import datetime
from textwrap import dedent
from typing import Any

from tooling.models import Import, Person
from tooling.services import imports

OWNERS = """
    Code,Name,Our own shop,Consent
    SHOP,Pewter Lane Roll Forming,yes,
    FERN,Fernhill Gutters,no,letter of 2 May
"""
PLACES = """
    Name,Inside,Kind,Walking order
    Hall,,area,1
    Rack A,Hall,rack,10
    Shelf 1,Hall / Rack A,shelf,11
    Shelf 2,Hall / Rack A,shelf,12
    Cart 7,Hall,cart,90
"""
MILLS = """
    Mill,Name,Datum,Hand,Operator side,Station,Shaft,Shaft diameter mm,Roll space mm
    M1,Mill one,shoulder,left,right,1-3,,60,300
"""
DRAWINGS = """
    Drawing,Rev,Kind,Bore mm,Face width mm,Root diameter mm,OD mm
    D-1,A,roll,60,40,150,180
    D-2,A,roll,60,50,150,190
    SP-5,A,spacer,60,5,,90
"""
PIECES = """
    Old number,Mark,Copy,Drawing,Owner,Place,Condition,Units
    R-1,D-1,A,D-1,SHOP,Hall / Rack A / Shelf 1,sound,mm
    R-2,D-1,B,D-1,FERN,Hall / Rack A / Shelf 2,sound,mm
    R-3,D-2,A,D-2,SHOP,Hall / Rack A / Shelf 1,clean,mm
"""
STOCK = """
    Drawing,Place,Condition,Count,Least count
    SP-5,Hall / Rack A,sound,12,4
"""
SETS = """
    Set,Name,Unit,Pass,Shaft,Order,Drawing,Variant,Copy,Piece
    100,Gutter 100,mm,1,top,1,D-1,,A,R-1
    100,Gutter 100,mm,1,top,1,D-1,,B,R-2
    100,Gutter 100,mm,1,bottom,1,D-2,,A,R-3
    100,Gutter 100,mm,2,top,1,D-2,,,
    100,Gutter 100,mm,2,top,1,SP-5,wide,,
"""
PAPER = """
    Set,Name,Copy,Place,Rolls,Owner,Note
    200,Ridge cap,A,Hall / Cart 7,48,SHOP,binder 3
"""
CHARTS = """
    Set,Mill,Pass,Station,Gap mm
    100,M1,1,1,1.5
    100,M1,2,3,
"""
REGRINDS = """
    Piece,Date,Kind,Who,Before OD mm,After OD mm,Mark restored,Cost
    R-1,2025-03-04,regrind,Alder Grinding,180,179.5,yes,85.50
"""
READINGS = """
    Piece,Dimension,Value mm,Date,Time,Gauge,Who
    R-1,outside diameter,179.48,2026-02-03,08:30,MIC-4,Jo
    R-3,root diameter,149.9,2026-02-03,,,
"""
LENGTH_RUN = """
    Piece,Length m,Strip class,Date,Run
    R-1,120000,galvanised,2026-01-31,
    R-1,30000,stainless,2026-01-31,
"""
JOBS = """
    Job,Set,Variant,Mill,Customer,Length m,Date,Time,Hours
    J-1,100,wide,M1,FERN,4000,2026-12-01,07:30,6
"""
WHOLE_SHOP = {
    "owners": OWNERS,
    "places": PLACES,
    "mills": MILLS,
    "drawings": DRAWINGS,
    "pieces": PIECES,
    "stock": STOCK,
    "sets": SETS,
    "paper_sets": PAPER,
    "charts": CHARTS,
    "regrinds": REGRINDS,
    "readings": READINGS,
    "length_run": LENGTH_RUN,
    "jobs": JOBS,
}


def csv(text: str) -> bytes:
    return dedent(text).strip().encode()


def look(by: Person, at: datetime, **sheets: str | bytes) -> Import:
    """Bring sheets in without applying: ``look(by, at, owners="Code,Name …")``."""
    brought = [
        imports.Brought(f"{name}.csv", text if isinstance(text, bytes) else csv(text))
        for name, text in sheets.items()
    ]
    return imports.bring(by=by, at=at, brought=brought)


def bring(by: Person, at: datetime, **sheets: str | bytes) -> Import:
    """Bring sheets in and apply them; no problems are expected."""
    made = look(by, at, **sheets)
    assert made.problems == [], made.problems
    return imports.apply(by=by, at=at, made=made)


def told(made: Import) -> list[tuple[str, int, str, str, str]]:
    """Where each problem is and what it is: (sheet, row, column, value, code)."""
    return [
        (each["sheet"], each["row"], each["column"], each["value"], each["code"])
        for each in made.problems
    ]


def previewed(made: Import) -> list[tuple[str, int, str, Any]]:
    return [(line["sheet"], line["row"], line["what"], line["changes"]) for line in made.preview]
