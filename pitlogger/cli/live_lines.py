"""Lines that are drawn anew above a prompt, so that what is asked and typed stays readable."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from typing import TextIO

MOST = 6
_SAVE, _RESTORE, _ERASE, _DOWN = "\x1b7", "\x1b8", "\r\x1b[2K", "\x1b[1B"


class LiveLines:
    """Draws on a terminal by the customary control sequences (ECMA-48; save and restore: DEC).

    Args:
        out: The terminal.
        columns: Its width; asked for where left out.
    """

    def __init__(self, out: TextIO, columns: int = 0) -> None:
        self._out = out
        self._columns = columns or shutil.get_terminal_size().columns
        self._lines: Sequence[str] = ()
        self._above = 0  # rows between the prompt's last and the first line drawn
        self._count = 0

    def ask(self, prompt: str) -> None:
        """Leave room for the lines there are now, and print a prompt below."""
        self._count = len(self._lines)
        rows = len(prompt) // self._columns
        self._above = self._count + rows
        self._out.write("\n" * self._count + prompt)
        self._draw()

    def __call__(self, lines: Sequence[str]) -> None:
        """Draw lines, the newest last; before a prompt they are only kept."""
        self._lines = tuple(lines)[-MOST:]
        self._draw()

    def _draw(self) -> None:
        if self._above:
            drawn = [_ERASE + line[: self._columns - 1] for line in self._lines[-self._count :]]
            up = f"\x1b[{self._above}A"
            self._out.write(f"{_SAVE}{up}{_DOWN.join(drawn)}{_RESTORE}")
        self._out.flush()

    def end(self) -> None:
        """Draw no more: an answer came."""
        self._above = 0
