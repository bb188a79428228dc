"""Sheets of jobs."""

from __future__ import annotations

from tooling.spreadsheets.fields import Field, FieldType, Kind
from tooling.spreadsheets.kinds.sets import set_number
from tooling.spreadsheets.kinds.words import code, date, length, unit

JOBS = Kind(
    "jobs",
    "Jobs",
    (
        code("number", "Job", "job no", "job number", "order", "order no", "work order", "wo",
             "wo no", "job #", "production order", required=True, longest=30, example="J-2041"),
        set_number(),
        code("variant", "Variant", "version", "option", "set variant", longest=40),
        code("mill", "Mill", "mill no", "machine", "line", "mill number", required=True,
             longest=20, example="M1"),
        code("customer", "Customer", "cust", "for", "client", "sold to", longest=120),
        code("grade", "Grade", "strip grade", "material", "steel", "steel grade",
             example="DX51D"),
        unit(),
        length("thickness", "Thickness", "gauge", "gage", "thk", "strip thickness", "t",
               most=30.0, usual=(0.2, 12.0), example="1.5"),
        length("width", "Width", "strip width", "slit width", "coil width", most=3_000.0,
               usual=(10.0, 2_500.0), example="200"),
        code("coating", "Coating", "coat", "finish", "zinc", example="Z275"),
        code("strip_class", "Strip class", "class", "yield class"),
        Field("length", "Length", ("run length", "feet", "metres", "meters", "footage",
              "order length", "total length", "lineal feet", "strip length"),
              FieldType.STRIP_LENGTH, least=0, most=1e8, example="6000"),
        date("date", "Date", "start", "start date", "run date", "planned", "scheduled", "day",
             "starts", required=True, example="2026-12-01"),
        Field("time", "Time", ("start time", "hour", "starts at"), FieldType.TIME,
              example="06:00"),
        Field("hours", "Hours", ("run hours", "expected hours", "duration", "run time", "hrs"),
              FieldType.NUMBER, least=0.1, most=1_000, example="8"),
        date("gather_date", "Gather date", "gather", "gather on", "kit date", "gathered",
             "kit by", "staging date"),
        Field("gather_time", "Gather time", ("gather at", "kit time"), FieldType.TIME),
        date("due_date", "Due date", "due", "due on", "due by", "run by", "needed by", "ship date",
             "delivery date", "required date"),
        Field("due_time", "Due time", ("due at", "needed at"), FieldType.TIME),
    ),
    keys=(("number",),),
    words=("jobs", "schedule", "orders", "plan", "production schedule"),
)  # fmt: skip
