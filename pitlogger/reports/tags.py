"""Tags of pieces and trays: a code to scan, and in letters what it is.

QR code for scanners that read pictures (segno draws it, ISO/IEC 18004), Code 128 for those that
read lines. A label printer that speaks ESC/POS draws both itself (GS ( k, GS k 73).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pitlogger.reports import escpos
from pitlogger.reports.code128 import code128_svg, fits
from pitlogger.reports.label import qr_svg
from pitlogger.reports.sheet import Block, Heading, Lines, Picture, Sheet
from pitlogger.views.language import tr


@dataclass(frozen=True, slots=True)
class PrintedTag:
    """One tag: the text in its code, what it is of, and a line about that."""

    text: str
    title: str
    about: str = ""


def tags_sheet(tags: Sequence[PrintedTag]) -> Sheet:
    """Return tags as a page to be cut up."""
    blocks: list[Block] = []
    for tag in tags:
        described = tr("Code: {code}", code=tag.text)
        blocks += [Heading(tag.title), Picture(qr_svg(tag.text), described, width_mm=24)]
        if fits(tag.text):
            blocks.append(Picture(code128_svg(tag.text), described, width_mm=80))
        blocks.append(Lines((tag.about, tag.text) if tag.about else (tag.text,)))
    return Sheet(tr("Tags"), blocks=tuple(blocks))


def tags_bytes(tags: Sequence[PrintedTag]) -> bytes:
    """Return tags as bytes for a printer that speaks ESC/POS, each cut off."""
    made = []
    for tag in tags:
        made += [escpos.BEGIN, escpos.big(tag.title)]
        made += [escpos.line(tag.about)] if tag.about else []
        made += [escpos.qr(tag.text)]
        made += [escpos.code128(tag.text)] if fits(tag.text) else []
        made += [escpos.line(tag.text), escpos.CUT]
    return b"".join(made)
