"""Log lines have a limit a kind, an end, and no power over a terminal."""

from __future__ import annotations

import logging

import pytest

from pitlogger.service import logs


def made(message: str, *args: object, name: str = "x") -> logging.LogRecord:
    return logging.LogRecord(name, logging.WARNING, "", 0, message, args, None)


def test_the_same_thing_a_thousand_times_is_a_few_lines(monkeypatch: pytest.MonkeyPatch) -> None:
    now_s = 0.0
    monkeypatch.setattr("time.monotonic", lambda: now_s)
    limit = logs.RateLimit()
    passed = [record for n in range(1000) if limit.filter(record := made("port %d fails", n))]
    assert len(passed) == logs.BURST
    assert "left out for a minute" in passed[-1].getMessage()
    assert limit.filter(made("another message"))
    now_s = logs.WINDOW_S
    after = made("port %d fails", 1)
    assert limit.filter(after)
    assert after.getMessage() == "port 1 fails (980 more like this)"


def test_messages_of_many_kinds_are_forgotten_not_kept() -> None:
    limit = logs.RateLimit()
    for number in range(5000):
        assert limit.filter(made(f"{number:080d}"))
    assert len(limit._kinds) <= logs.MOST_KINDS


def test_a_line_steers_no_terminal_and_has_an_end() -> None:
    text = logs.LineFormatter("%(message)s").format(made("a\x1b[2Jb\rc\x9bd" + "x" * 100_000))
    assert text.startswith("a\\x1b[2Jb\\x0dc\\x9bdx")
    assert len(text) < logs.LONGEST + 10
