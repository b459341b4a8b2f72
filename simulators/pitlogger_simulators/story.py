"""The story in the terminal: a line for each thing that happens, and a bar over the cook.

On a terminal the bar stays on the last line; anywhere else there are plain lines alone.
"""

from __future__ import annotations

import shutil
import sys
from datetime import datetime, tzinfo
from typing import Any, TextIO

from pitlogger.formats.journal_json import load_body
from pitlogger.model.alerts import alert_class
from pitlogger.rules.messages import Units
from pitlogger.views import words
from pitlogger.views.entries import body_words

_BAR = 30
_MARK = {"prompt": "!", "alarm": "!!"}
_SIGN = {
    "cook-started": ">", "cook-finished": ">", "stage-set": ">", "weighed": "=", "spot-read": "=",
    "piece-split": ">", "pieces-merged": ">", "corrected": "~", "doubted": "?",
    "device-changed": "-", "noted": "",
}  # fmt: skip
_ENTERED = {
    "unacknowledged": "", "latched-unacknowledged": "", "normal": "over: ",
    "acknowledged": "seen: ", "returned-unacknowledged": "went away: ",
}  # fmt: skip


class Story:
    """Tells what happens as it happens.

    Args:
        zone: Of the kitchen clock.
        stream: Where to; standard error keeps standard output free for a document.
    """

    def __init__(self, zone: tzinfo | None, stream: TextIO | None = None) -> None:
        self._zone = zone
        self._stream = stream or sys.stderr
        self._has_bar = self._stream.isatty()
        self._bar = ""

    def line(self, t_ms: int | None, text: str) -> None:
        """Tell one thing."""
        when = "" if t_ms is None else f"{self._clock(t_ms)}  "
        self._write(f"{when}{text}\n")

    def happening(self, kind: str, data: dict[str, Any]) -> None:
        """Tell a journal entry or an alert of the stream, if it is worth telling."""
        text = alert_line(data) if kind == "alert" else entry_line(data)
        if text is not None:
            self.line(data.get("utc_ms"), text)

    def progress(self, share: float, t_ms: int, rate: float, state: str) -> None:
        """Redraw the bar."""
        if not self._has_bar:
            return
        full = round(share * _BAR)
        columns = shutil.get_terminal_size().columns
        bar = f"{'#' * full}{'.' * (_BAR - full)}"
        self._bar = f"[{bar}] {self._clock(t_ms)}  {rate:.0f}x  {state}"[: columns - 1]
        self._stream.write(f"\r\x1b[K{self._bar}")
        self._stream.flush()

    def end(self) -> None:
        """Leave the line of the bar."""
        if self._bar:
            self._bar = ""
            self._stream.write("\r\x1b[K")
            self._stream.flush()

    def _clock(self, t_ms: int) -> str:
        return datetime.fromtimestamp(t_ms / 1000, self._zone).strftime("%H:%M")

    def _write(self, text: str) -> None:
        if self._bar:
            self._stream.write(f"\r\x1b[K{text}{self._bar}")
        else:
            self._stream.write(text)
        self._stream.flush()


def alert_line(data: dict[str, Any]) -> str | None:
    """Return what an alert's new state reads like."""
    entered = _ENTERED.get(data["now"])
    if entered is None or (data["now"] == "normal" and data["was"] != "unacknowledged"):
        if data["now"] != "normal" or alert_class(data["alert_kind"]) == "prompt":
            return None
        entered = "over: "
    mark = _MARK[alert_class(data["alert_kind"])] if not entered else "  "
    by = f" ({data['by']})" if data.get("by") else ""
    return f"{mark:2} {entered}{words.alert(data['alert_kind'])}: {data['message']}{by}"


def entry_line(data: dict[str, Any]) -> str | None:
    """Return what a journal entry reads like, ``None`` for what is not worth a line."""
    sign = _SIGN.get(data["kind"])
    if sign is None:
        return None
    by = f" ({data['by']})" if data.get("by") else ""
    return f"{sign:2} {body_words(load_body(data), Units())}{by}"
