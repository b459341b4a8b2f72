"""Cook files: what they give, and how a fault in one is told."""

from decimal import Decimal
from pathlib import Path

import pytest

from pitlogger.errors import CookFileError
from pitlogger.formats.cook_file import load_cook, parse_cook
from pitlogger.model.cooks import NEVER

WHOLE = """
[cook]
name = "harvest supper"
serve_at = "2026-09-19T18:00:00-05:00"
guests = 45
altitude_m = 240
[[piece]]
id = "brisket-1"
cut = "brisket-packer"
price_per_lb = 4.29
mass = "6.4 kg"
thickness = "7 cm"
wrap = "paper"
wrap_at = "165F"
pull_at = "203F"
pit = "pit"
[[piece]]
id = "ribs"
cut = "pork-spareribs"
wrap_at = "never"
[[channel]]
id = "brisket-1/core"
site = "core"
piece = "brisket-1"
offset = "-0.9F"
[[channel]]
id = "pit"
site = "pit"
set_point = "238F"
low = "210F"
high = "290F"
stale_after = "2 min"
"""


def test_a_whole_cook_is_read() -> None:
    cook = parse_cook(WHOLE)
    brisket, ribs = cook.pieces
    assert cook.services[0].guests == 45
    assert brisket.wrap_at_mc == 73_889
    assert brisket.pull_at_mc == 95_000
    assert brisket.mass_mg == 6_400_000
    assert brisket.thickness_mm == 70
    assert brisket.price_per_kg == pytest.approx(Decimal("9.4578"), abs=Decimal("0.0001"))
    assert ribs.wrap_at_mc == NEVER
    core, pit = cook.channels
    assert core.offset == -500
    assert pit.stale_after_ms == 120_000
    assert (pit.low_mc, pit.high_mc) == (98_889, 143_333)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('[cook]\nname = "x"\n[[piece]]\nid = "b"\ncutt = "brisket-flat"', r"f:5: .*'cut'"),
        ('[[piece]]\nid = "b"\ncut = "briskt-flat"', r"f:3: .*did you mean 'brisket-flat'"),
        ('[[piece]]\nid = "b"\nmass = "6.4"', r"f:3: .*no unit"),
        ('[[piece]]\nid = "b"\nmass = 6.4', r"f:3: .*text with its unit"),
        ('[[piece]]\nid = "b"\nwrap_at = "203F"\npull_at = "165F"', r"f:1: .*below wrap_at"),
        ('[[piece]]\nid = "b"\n[[piece]]\nid = "b"', "given twice"),
        ('[[piece]]\ncut = "other"', r"f:1: 'piece\.0\.id' is missing"),
        ('[[piece]]\nid = "b"\n[[channel]]\nid = "c"\nsite = "cor"\npiece = "b"', r"f:5: .*'core'"),
        (
            '[[piece]]\nid = "b"\n[[channel]]\nid = "c"\nsite = "core"\npiece = "bb"',
            "unknown piece 'bb'",
        ),
        ('[[channel]]\nid = "p"\nsite = "pit"\nlow = "300F"\nhigh = "200F"', "low must lie below"),
        ('[cook]\nserve_at = "tomorrow"', r"f:2: .*date and time"),
        ('[cook]\nserve_at = "2026-09-19T18:00:00"', r"f:2: .*offset from UTC"),
        ("[cook]\nguests = 0", "f:2: "),
        ("[cook\n", r"f:1: not valid TOML"),
    ],
)
def test_a_fault_is_told_with_its_line(text: str, told: str) -> None:
    with pytest.raises(CookFileError, match=told):
        parse_cook(text, "f")


def test_a_missing_file_is_told(tmp_path: Path) -> None:
    with pytest.raises(CookFileError, match="cannot be read"):
        load_cook(tmp_path / "none.toml")
