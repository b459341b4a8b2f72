"""Scanned codes: what they name, and that nothing is entered where that is not clear."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from pitlogger.engine.buttons import Binding, perform
from pitlogger.engine.scanning import STANDS_MS, Scans, after, scanned
from pitlogger.errors import PitloggerError
from pitlogger.formats.tags import PieceTag, TrayTag, cook_mark
from pitlogger.model.cooks import Channel, Stage
from pitlogger.model.journal import (
    ChannelAssigned,
    Corrected,
    Noted,
    Received,
    StageSet,
    Weighed,
)
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Reading, Site
from tests.engine.conftest import Kitchen

TODAY = date(2026, 9, 18)
BOX = "]C1010950600013435231030072101726101510LOT-7"
CHANNELS = (
    Channel("bench", Site.BENCH, quantity=Quantity.MASS),
    Channel("deck", Site.BENCH, quantity=Quantity.MASS),
    Channel("p1", quantity=Quantity.TEMPERATURE),
    Channel("p2", quantity=Quantity.TEMPERATURE),
)
COOK = """
[cook]
name = "two"
[[piece]]
id = "a"
cut = "pork-butt"
[[piece]]
id = "b"
cut = "pork-butt"
"""


class Hands:
    """A kitchen with a scanner; ``done`` is what scans and presses were entered as."""

    def __init__(self) -> None:
        self.kitchen = Kitchen(COOK, CHANNELS)
        self.scans = Scans()
        self.done: list[Any] = []

    @property
    def now_ms(self) -> int:
        return self.kitchen.t_ms

    def scan(self, text: str) -> list[Any]:
        """Scan and return what came of it."""
        return self._do(
            lambda: scanned(
                self.kitchen.engine, self.scans, text, self.now_ms, TODAY, {"pan": 412_000}
            )
        )

    def load(self, mass_g: int, scale: str = "bench") -> list[Any]:
        """Let something lie still on a scale; return what came of it."""
        found = []
        for _ in range(20):
            self.kitchen.t_ms += 250
            self.kitchen.feed(Reading(scale, self.now_ms, mass_g * 1000))
            found += self._do(lambda: after(self.kitchen.engine, self.scans, scale, self.now_ms))
        return found

    def weigh(self, piece: str, checkpoint: str, mass_g: int) -> None:
        self.kitchen.say(Weighed(piece, checkpoint, mass_g * 1000, 0, self.now_ms))

    def _do(self, make: Any) -> list[Any]:
        before = len(self.done)

        def feed(command: Any) -> None:
            self.kitchen.feed(command)
            self.done.append(command.body)

        perform("scan", make, self.now_ms, "scanner", feed)
        return self.done[before:]


@pytest.fixture
def hands() -> Hands:
    return Hands()


def kept(bodies: list[Any]) -> list[tuple[str, str, int]]:
    return [(b.piece, b.checkpoint, b.net_mg) for b in bodies if isinstance(b, Weighed)]


def test_a_tag_after_the_load_names_it(hands: Hands) -> None:
    hands.load(3600)
    assert kept(hands.scan(PieceTag("b").text)) == [("b", "purchased", 3_600_000)]
    assert hands.scan(PieceTag("b").text) == []  # that load has its name


def test_a_tag_before_the_load_names_it_once(hands: Hands) -> None:
    assert hands.scan(PieceTag("b").text) == []
    assert kept(hands.load(3600)) == [("b", "purchased", 3_600_000)]
    hands.load(0)
    assert hands.load(3500) == []


def test_a_tag_is_forgotten_after_a_minute(hands: Hands) -> None:
    hands.scan(PieceTag("b").text)
    hands.kitchen.t_ms += STANDS_MS + 1
    assert hands.load(3600) == []


def test_two_tags_at_once_name_nothing(hands: Hands) -> None:
    hands.scan(PieceTag("a").text)
    (note,) = hands.scan(PieceTag("b").text)
    assert isinstance(note, Noted)
    assert "which is meant?" in note.text
    assert hands.load(3600) == []


@pytest.mark.parametrize(
    ("text", "why"),
    [("9506000134352", "no tag"), ("PLP::c", "unknown piece 'c'"), ("PLT:tub", "unknown container"),
     ("PLP:zzzz:a", "of another cook"), ("]C101123", "cut short"), ("\x1d", "nothing"),
     ("PLP::" + "x" * 200, "unknown piece")],
)  # fmt: skip
def test_what_names_nothing_enters_nothing(hands: Hands, text: str, why: str) -> None:
    hands.load(3600)
    (note,) = hands.scan(text)
    assert isinstance(note, Noted)
    assert why in note.text


def test_the_tag_of_this_cook_is_taken(hands: Hands) -> None:
    cook = hands.kitchen.engine.book.pieces["a"].cook
    hands.load(3600)
    assert kept(hands.scan(PieceTag("a", cook_mark(cook)).text))


def test_a_cat_or_a_tray_swapped_is_asked_about(hands: Hands) -> None:
    hands.weigh("a", "purchased", 3600)
    hands.weigh("a", "trimmed", 3300)
    hands.kitchen.stage(Stage.SMOKING, "a")
    hands.load(5100)  # heavier than the raw piece
    (note,) = hands.scan(PieceTag("a").text)
    assert "fits no weighing" in note.text
    hands.load(0)
    hands.load(30)
    assert hands.scan(PieceTag("a").text) == []  # nothing lies there: the tag waits


def test_two_loads_on_two_scales_are_not_told_apart(hands: Hands) -> None:
    hands.load(3600)
    hands.load(3700, "deck")
    (note,) = hands.scan(PieceTag("a").text)
    assert "bench, deck" in note.text


def test_a_tray_before_and_after_a_weighing(hands: Hands) -> None:
    hands.scan(TrayTag("pan").text)
    hands.scan(PieceTag("a").text)
    (weighed,) = hands.load(4012)
    assert (weighed.net_mg, weighed.container) == (3_600_000, "pan")
    hands.load(0)
    hands.scan(PieceTag("b").text)
    hands.load(4112)
    (right,) = hands.scan(TrayTag("pan").text)
    assert isinstance(right, Corrected)
    assert hands.kitchen.engine.book.pieces["b"].net_mg("purchased") == 3_700_000


def test_a_press_that_could_not_tell_is_done_by_the_tag(hands: Hands) -> None:
    hands.scans.press = (Binding("next-stage"), hands.now_ms)
    (mark,) = hands.scan(PieceTag("b").text)
    assert isinstance(mark, StageSet)
    assert mark.piece == "b"
    assert hands.scan(PieceTag("b").text) == []


def test_a_probe_just_put_in_gets_its_piece(hands: Hands) -> None:
    for step in range(30):
        hands.kitchen.t_ms += 10_000
        hands.kitchen.feed(Reading("p1", hands.now_ms, 22_000 - 600 * step))
        hands.kitchen.feed(Reading("p2", hands.now_ms, 21_000))
    (placed,) = hands.scan(PieceTag("a").text)
    assert isinstance(placed, ChannelAssigned)
    assert (placed.channel.id, placed.channel.piece, placed.channel.site) == ("p1", "a", Site.CORE)


def test_a_probe_keeps_its_offset_when_a_tag_says_where_it_is(hands: Hands) -> None:
    offset = Channel("p1", Site.NONE, quantity=Quantity.TEMPERATURE, offset=-400)
    hands.kitchen.say(ChannelAssigned(offset))
    for step in range(30):
        hands.kitchen.t_ms += 10_000
        hands.kitchen.feed(Reading("p1", hands.now_ms, 22_000 - 600 * step))
    (placed,) = hands.scan(PieceTag("a").text)
    assert (placed.channel.piece, placed.channel.offset) == ("a", -400)


def test_two_probes_just_put_in_are_asked_about(hands: Hands) -> None:
    for step in range(30):
        hands.kitchen.t_ms += 10_000
        for probe in ("p1", "p2"):
            hands.kitchen.feed(Reading(probe, hands.now_ms, 22_000 - 600 * step))
    (note,) = hands.scan(PieceTag("a").text)
    assert "p1, p2" in note.text


@pytest.mark.parametrize("box_first", [True, False])
def test_a_box_label_goes_into_receiving_and_purchase(hands: Hands, box_first: bool) -> None:
    first, second = (BOX, PieceTag("a").text) if box_first else (PieceTag("a").text, BOX)
    assert hands.scan(first) == []
    received, billed = hands.scan(second)
    assert isinstance(received, Received)
    assert (received.lot, received.accepted, received.value_mc) == ("LOT-7", True, None)
    assert "use by 2026-10-15" in received.condition
    assert (billed.checkpoint, billed.net_mg) == ("label", 7_210_000)
    held = hands.kitchen.engine.book.pieces["a"]
    assert (held.piece.lot, held.net_mg("label")) == ("LOT-7", 7_210_000)


def test_a_box_of_two_pieces_bills_neither_twice(hands: Hands) -> None:
    for piece in ("a", "b"):
        hands.scan(BOX)
        found = hands.scan(PieceTag(piece).text)
    received, note = found
    assert isinstance(received, Received)
    assert isinstance(note, Noted)
    assert "a and b came in one box of 7.210 kg" in note.text
    assert hands.kitchen.engine.book.pieces["b"].net_mg("label") is None


def test_a_box_past_its_date_or_refused_before_is_not_received(hands: Hands) -> None:
    hands.scan("]C10109506000134352172609011\x1d")
    assert "wrong length" in hands.done[-1].text
    hands.scan("]C1010950600013435217260901")
    (note,) = hands.scan(PieceTag("a").text)
    assert "lies behind" in note.text
    hands.kitchen.say(Received("a", False, hands.now_ms, condition="warm"))
    hands.scan(BOX)
    (note,) = hands.scan(PieceTag("a").text)
    assert "was refused" in note.text


def test_two_boxes_at_once_are_asked_about(hands: Hands) -> None:
    hands.scan(BOX)
    (note,) = hands.scan(BOX.replace("LOT-7", "LOT-8"))
    assert "two box labels" in note.text
    assert hands.scan(PieceTag("a").text) == []


def test_no_cook_no_entry() -> None:
    kitchen = Kitchen(None, CHANNELS)
    with pytest.raises(PitloggerError, match="no cook is running"):
        scanned(kitchen.engine, Scans(), "PLP::a", kitchen.t_ms, TODAY, {})
