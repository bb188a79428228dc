"""What stands in addresses besides numbers and words."""

from __future__ import annotations


class ShaftConverter:
    """One of the three shafts in an address, or what stands on the line."""

    regex = "top|bottom|side|line"

    def to_python(self, value: str) -> str:
        return value

    def to_url(self, value: str) -> str:
        return value
