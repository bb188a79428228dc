"""What a poll is answered with at its end."""

from __future__ import annotations

from typing import Any


def assert_whole(answer: Any, url: str) -> None:
    """The page at ``url`` is asked for once, in the place of what polled; nothing is reloaded."""
    body = answer.content.decode()
    assert f'hx-get="{url}" hx-trigger="load" hx-select="#content" hx-target="#content"' in body
    assert f'<a href="{url}">' in body
    assert "every" not in body, "it is asked for no more"
    assert "HX-Refresh" not in answer.headers
