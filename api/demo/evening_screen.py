"""The demonstration on a terminal: one picture, drawn again and again in its place."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator

from rich.live import Live

from api.demo.evening import Frame
from api.demo.screen import DemoFrame
from api.render.tables import open_console


class Screen:
    """Draws each scene over the one before."""

    def __init__(self, live: Live) -> None:
        """Take the place on the terminal."""
        self._live = live

    def show(self, scene: Frame) -> None:
        """Draw one moment."""
        self._live.update(DemoFrame(scene), refresh=True)


@contextlib.contextmanager
def open_screen() -> Iterator[Screen]:
    """Take a place on the terminal, and leave the last picture standing in it."""
    with Live(console=open_console(), auto_refresh=False, vertical_overflow="crop") as live:
        yield Screen(live)
