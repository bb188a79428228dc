"""Spreadsheets in: rows become one plan, looked at first, then applied all or nothing.

``known`` holds what exists and what the same import makes; the kinds fill the plan; ``apply``
writes it in one short transaction. Planning reads only, so a preview never holds the write lock.
"""
