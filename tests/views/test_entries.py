"""What journal entries say, for people."""

from __future__ import annotations

import pytest

from pitlogger.formats.journal_json import dump_body, load_body
from pitlogger.model.cooks import Piece, Stage
from pitlogger.model.entry_ids import short_id
from pitlogger.model.journal import (
    Body,
    Corrected,
    PieceSplit,
    RunStarted,
    SpotRead,
    StageSet,
    TroubleChanged,
    Weighed,
)
from pitlogger.rules.messages import Units
from pitlogger.views.entries import body_words
from tests.formats.test_journal_json import BODIES

POINT, FLAT = Piece("point", "brisket-point"), Piece("flat", "brisket-flat")


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (StageSet("butt", Stage.WRAPPED, 0, "foil"), "butt: wrapped in foil"),
        (StageSet("butt", Stage.SMOKING, 0), "butt: on the pit"),
        (Weighed("butt", "trimmed", 4_000_000, 0, 0), "butt: 8 lb 13.1 oz, trimmed"),
        (
            Weighed("butt", "carved", 4_000_000, 500_000, 0),
            "butt: 7 lb 11.5 oz, carved, container 1 lb 1.6 oz",
        ),
        (SpotRead(95_000, 0, "butt", probe="pen"), "butt: 203.0 F by hand with pen"),
        (PieceSplit("packer", (POINT, FLAT)), "packer: split into point and flat"),
        (
            Corrected("r", 3, Weighed("butt", "trimmed", 3_000_000, 0, 0), "wrong pan"),
            f"entry {short_id('r', 3)} corrected: butt: 6 lb 9.8 oz, trimmed: wrong pan",
        ),
        (TroubleChanged("disk-low", "node", False), "node: over, disk nearly full"),
        (RunStarted("boot", "1", True, None), "the daemon started, after an unknown time"),
    ],
)
def test_words(body: Body, words: str) -> None:
    assert body_words(body, Units()) == words


def test_units_are_the_persons() -> None:
    kilos = Units("C", "kg")
    assert body_words(Weighed("a", "carved", 4_000_000, 0, 0), kilos) == "a: 4.000 kg, carved"
    assert body_words(SpotRead(95_000, 0, "a"), kilos) == "a: 95.0 C by hand"


@pytest.mark.parametrize("body", BODIES, ids=lambda body: body.kind)
def test_every_kind_has_its_line_and_no_raw_numbers(body: Body) -> None:
    line = body_words(load_body({**dump_body(body), "at": "2026-09-19T10:00:00Z"}), Units())
    assert line
    assert "_m" not in line
    assert "None" not in line
