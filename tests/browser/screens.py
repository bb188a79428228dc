"""The screens that pages are looked at on, and how Chromium is started for it."""

from __future__ import annotations

from playwright.sync_api import ViewportSize

FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PHONE: ViewportSize = {"width": 360, "height": 740}
TABLET: ViewportSize = {"width": 1280, "height": 800}
DESK: ViewportSize = {"width": 1600, "height": 1000}
