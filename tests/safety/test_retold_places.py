"""Where a probe sat, said afterwards: what was not met becomes not shown, never met.

Likeliest mistakes: the wrong piece named, the wrong probe, the wrong time, a tap too many, a
person who would rather have had another record.
"""

from __future__ import annotations

import os
import random

import pytest

from pitlogger.model.book import Book
from pitlogger.model.cooks import Channel, Cook, Piece, Stage
from pitlogger.model.folding import fold
from pitlogger.model.journal import Body, ChannelAssigned, CookStarted, Entry, StageSet, Undone
from pitlogger.model.quantities import milli_c_from_fahrenheit
from pitlogger.model.readings import Reading, Site
from pitlogger.safety.instruments.belief import DoubtReason
from pitlogger.safety.judge import judge
from pitlogger.safety.recorded import histories
from tests.safety.building import MIN, RETAIL

A, B, SPARE = (Channel("a", Site.CORE, "x"), Channel("b", Site.CORE, "y"), Channel("s", Site.CORE))
PIECES = (Piece("x", "brisket-packer"), Piece("y", "pork-butt"))


def book(*said: tuple[int, Body], channels: tuple[Channel, ...] = (A, B)) -> Book:
    entries = [Entry("r", 0, 0, CookStarted(Cook("test", PIECES, channels)))]
    entries += [Entry("r", seq, t_ms, body) for seq, (t_ms, body) in enumerate(said, start=1)]
    return fold(entries)


def core(channel: str, low_f: float) -> list[Reading]:
    """Return a core that is cooked and held, and falls to ``low_f`` for a while in its hold."""
    found = []
    for minute in range(901):
        level_f = min(203.0, 40.0 + minute * 0.32)
        if minute >= 560:
            dip = max(0.0, min(1.0, (minute - 620) / 50, (780 - minute) / 50))
            level_f = max(150.0, 203.0 - (minute - 560) * 0.9) * (1.0 - dip) + low_f * dip
        found.append(Reading(channel, minute * MIN, milli_c_from_fahrenheit(level_f)))
    return found


MARKS: tuple[tuple[int, Body], ...] = tuple(
    (at * MIN, StageSet(piece, stage, at * MIN))
    for piece in ("x", "y")
    for at, stage in ((0, Stage.SMOKING), (560, Stage.HOLDING))
)


def holding(said: Book, readings: list[Reading], piece: str) -> bool | None:
    made = next(one for one in histories(said, sorted(readings, key=lambda r: r.t_ms))
                if one.piece == piece)  # fmt: skip
    return judge(made, RETAIL).holding.met


def test_a_breach_taken_from_a_piece_is_not_shown_though_its_other_probe_was_warm() -> None:
    both = (A, B, Channel("a2", Site.CORE, "x"))
    readings = core("a", 120.0) + core("a2", 150.0) + core("b", 150.0)
    assert holding(book(*MARKS, channels=both), readings, "x") is False
    away = ChannelAssigned(Channel("a", Site.ROOM), at_ms=600 * MIN)
    assert holding(book(*MARKS, (800 * MIN, away), channels=both), readings, "x") is None


def test_a_breach_given_to_a_piece_afterwards_is_not_shown_there() -> None:
    readings = core("a", 120.0) + core("b", 150.0)
    gone = ChannelAssigned(Channel("a", Site.CORE, "y"), at_ms=600 * MIN)
    assert holding(book(*MARKS), readings, "y") is True
    assert holding(book(*MARKS, (800 * MIN, gone)), readings, "y") is None


def test_two_swapped_probes_are_repaired_by_one_entry_and_its_undo_restores_both() -> None:
    swap = ChannelAssigned(Channel("a", Site.CORE, "y"), at_ms=500 * MIN, swapped_with="b")
    said = book(*MARKS, (800 * MIN, swap))
    assert [said.assignment(one, 600 * MIN).channel.piece for one in "ab"] == ["y", "x"]  # type: ignore[union-attr]
    assert [said.assignment(one, 400 * MIN).channel.piece for one in "ab"] == ["x", "y"]  # type: ignore[union-attr]
    readings = core("a", 120.0) + core("b", 150.0)
    assert holding(said, readings, "x") is None
    assert holding(said, readings, "y") is None
    undone = book(*MARKS, (800 * MIN, swap), (810 * MIN, Undone("r", len(MARKS) + 1)))
    assert holding(undone, readings, "x") is False
    assert holding(undone, readings, "y") is True


def test_an_earlier_start_at_the_same_place_takes_no_credit_from_what_was_known() -> None:
    late = ChannelAssigned(Channel("s", Site.CORE, "x"))
    earlier = ChannelAssigned(Channel("s", Site.CORE, "x"), at_ms=0)
    said = book(*MARKS, (100 * MIN, late), (700 * MIN, earlier), channels=(SPARE, B))
    readings = core("s", 150.0) + core("b", 150.0)
    assert holding(said, readings, "x") is True


def test_what_a_probe_without_a_place_read_is_tagged_from_when_it_was_put_in() -> None:
    later = ChannelAssigned(Channel("s", Site.CORE, "x"), at_ms=10 * MIN)
    said = book(*MARKS, (300 * MIN, later), channels=(SPARE, B))
    made = next(one for one in histories(said, core("s", 150.0)) if one.piece == "x")
    assert made.cores[0].points[0][0] == 10 * MIN


@pytest.mark.parametrize("seed", range(int(os.environ.get("RETOLD", "20"))))
def test_no_telling_afterwards_turns_not_met_into_met(seed: int) -> None:
    rng = random.Random(seed)
    channels = (A, B, Channel("a2", Site.CORE, "x"), SPARE)
    readings = [one for channel in channels
                for one in core(channel.id, rng.choice([118.0, 130.0, 150.0, 150.0]))]  # fmt: skip
    plain = book(*MARKS, channels=channels)
    said: list[tuple[int, Body]] = []
    for _ in range(rng.randint(1, 3)):
        channel = rng.choice(channels).id
        site, piece = rng.choice([(Site.CORE, "x"), (Site.CORE, "y"), (Site.ROOM, None)])
        other = rng.choice([None, None, *(one.id for one in channels if one.id != channel)])
        at_ms = rng.randint(0, 880) * MIN
        body = ChannelAssigned(Channel(channel, site, piece), at_ms=at_ms, swapped_with=other)
        said.append((rng.randint(at_ms // MIN, 890) * MIN, body))
    retold = book(*MARKS, *sorted(said, key=lambda one: one[0]), channels=channels)
    for piece in ("x", "y"):
        if holding(plain, readings, piece) is False:
            assert holding(retold, readings, piece) is not True


def test_what_is_read_from_the_telling_on_is_credited() -> None:
    gone = ChannelAssigned(Channel("a", Site.CORE, "y"), at_ms=600 * MIN)
    made = histories(book(*MARKS, (800 * MIN, gone)), core("a", 150.0) + core("b", 150.0))
    doubts = [d for one in made if one.piece == "y" for c in one.cores if c.channel == "a"
              for d in c.doubts if d.why is DoubtReason.RETOLD]  # fmt: skip
    assert [(doubt.from_ms, doubt.to_ms) for doubt in doubts] == [(600 * MIN, 800 * MIN - 1)]
