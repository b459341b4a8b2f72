"""Tags: what is printed is read back by a decoder that shares no code with ours (zbar)."""

from __future__ import annotations

import subprocess
from pathlib import Path
from random import Random

import pytest

from pitlogger.errors import UsageError
from pitlogger.formats.tags import PieceTag, TrayTag, cook_mark, read_tag
from pitlogger.reports.code128 import QUIET, fits, widths
from pitlogger.reports.html import html
from pitlogger.reports.tags import PrintedTag, tags_bytes, tags_sheet
from tests.reports.test_printed import needs_print, printed

Picture = tuple[bytes, int, int]  # grey pixels, width, height


def read_back(picture: Picture) -> set[tuple[str, str]]:
    """Return kind and text of every code in a picture."""
    try:
        from pyzbar.pyzbar import decode
    except ImportError as fault:  # the package, or the library it loads
        pytest.skip(f"zbar is not installed ({fault})")
    return {(found.type, found.data.decode()) for found in decode(picture)}


def drawn(text: str) -> Picture:
    """Return the bars of a text as a picture."""
    row, black = [255] * QUIET, True
    for width in map(int, widths(text)):
        row += [0 if black else 255] * width
        black = not black
    row += [255] * QUIET
    wide = bytes(value for value in row for _ in range(3))
    return wide * 60, len(wide), 60


def test_all_ascii_is_read_back_from_the_bars() -> None:
    rng = Random(2)
    texts = ["".join(chr(rng.randrange(32, 127)) for _ in range(rng.randint(1, 30)))
             for _ in range(60)]  # fmt: skip
    texts += ["".join(map(chr, range(start, start + 24))) for start in (32, 56, 80, 102)]
    for text in texts:
        assert read_back(drawn(text)) == {("CODE128", text)}


def grey(pgm: bytes) -> Picture:
    """Return a picture of a binary PGM file: ``P5``, width, height, 255, pixels."""
    kind, width, height, most = pgm[:40].split(maxsplit=4)[:4]
    assert (kind, most) == (b"P5", b"255")
    size = int(width) * int(height)
    return pgm[-size:], int(width), int(height)


@pytest.mark.slow
@needs_print
def test_the_printed_page_is_read_back(tmp_path: Path) -> None:
    tags: list[PieceTag | TrayTag] = [
        PieceTag("brisket-1", "k7q2"),
        PieceTag("pork-butt-12"),
        TrayTag("half pan 3"),
        PieceTag("épaule-1", "k7q2"),
    ]
    sheet = tags_sheet(
        [PrintedTag(tag.text, tag.text[4:], "brisket, harvest supper") for tag in tags]
    )
    made = printed(sheet, tmp_path)
    subprocess.run(
        ["pdftoppm", "-r", "200", "-gray", str(made), str(tmp_path / "p")],
        check=True,
    )
    pages = sorted(tmp_path.glob("p*.pgm"))
    found = {one for page in pages for one in read_back(grey(page.read_bytes()))}
    texts = {tag.text for tag in tags}
    assert {text for kind, text in found if kind == "QRCODE"} == texts
    assert {text for kind, text in found if kind == "CODE128"} == {t for t in texts if t.isascii()}


def test_a_page_holds_what_was_named_as_text() -> None:
    made = html(tags_sheet([PrintedTag("PLT:<b>", "<b>", "5 g")]))
    assert "<b>" not in made


@pytest.mark.parametrize("text", ["", "x" * 33, "ümlaut", "a\tb"])
def test_what_bars_cannot_hold_is_refused_and_left_out(text: str) -> None:
    assert not fits(text)
    with pytest.raises(UsageError, match="Code 128"):
        widths(text)


def test_a_label_printer_gets_both_codes_a_tag() -> None:
    made = tags_bytes([PrintedTag("PLT:a{b", "a{b"), PrintedTag("PLP::é", "é")])
    assert made.count(b"\x1dVB") == 2
    assert b"\x1dkI\x0a{BPLT:a{{b" in made  # ten bytes of data: a brace is doubled
    assert made.count(b"\x1dkI") == 1
    assert "PLP::é".encode() in made


@pytest.mark.parametrize("tag", [PieceTag("a:b", "k7q2"), PieceTag("b"), TrayTag("half pan 3")])
def test_a_tag_reads_as_what_it_is(tag: PieceTag | TrayTag) -> None:
    assert read_tag(tag.text) == tag


@pytest.mark.parametrize(
    "text", ["", "PLP:", "PLP:x", "PLP:x:", "PLT:", "plp::b", "PLX:a", "9506000134352"]
)
def test_what_is_no_tag_is_none(text: str) -> None:
    assert read_tag(text) is None


def test_two_cooks_have_two_marks() -> None:
    marks = {cook_mark(f"cook-{n}") for n in range(200)}
    assert len(marks) == 200
    assert all(len(one) == 4 for one in marks)
    assert cook_mark("") == ""
