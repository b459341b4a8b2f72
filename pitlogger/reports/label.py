"""Labels of packed food: for any printer as HTML, for a receipt printer as ESC/POS.

Sources: FDA Food Code 3-602.11 (name, ingredients, quantity, firm, major allergens), 3-501.16
(135 F or above, 41 F or below), 3-403.11 (reheat to 165 F), 3-501.17 (seven days at 41 F, the
day of preparation being day 1), 3-501.19 (four hours out of temperature control).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from pitlogger.reports import escpos
from pitlogger.reports.allergens import UNANSWERED, AllergenAnswer, suggested
from pitlogger.reports.sheet import CAUTIONS, Block, Lines, Picture, Sheet
from pitlogger.views.language import day, mark, tr

Keep = Literal["hot", "cold"]
KEEP: dict[Keep, str] = {
    "hot": mark("Keep at 135 F (57 C) or above."),
    "cold": mark("Keep at 41 F (5 C) or below."),
}
REHEAT = mark("Reheat to 165 F (74 C) throughout.")
# FDA Food Code 3-502.12: reduced-oxygen packaging without a variance asks for a HACCP plan.
VACUUM = mark("Reduced-oxygen packed: only under a plan or variance of the local authority.")
COLD_DAYS = 7
HOT_HOURS = 4


@dataclass(frozen=True, slots=True)
class Label:
    """What stands on a label.

    Attributes:
        mass: With its unit, as shown.
        allergens: What a person answered for each of the nine.
        until: Use-by for cold food, discard time for hot food.
        code: What the QR code holds; none if empty.
    """

    name: str
    keep: Keep
    packed: datetime
    until: datetime
    firm: str = ""
    mass: str = ""
    ingredients: tuple[str, ...] = ()
    allergens: AllergenAnswer = UNANSWERED
    code: str = ""
    vacuum: bool = False

    def lines(self) -> list[str]:
        """Return the lines under the name, in their order."""
        ingredients = ", ".join(self.ingredients)
        if self.keep == "cold":
            until = tr("Use by {until}", until=f"{day(self.until)} {self.until:%Y-%m-%d}")
        else:
            until = tr("Discard at {until}", until=f"{day(self.until)} {self.until:%Y-%m-%d %H:%M}")
        return [
            *([tr("Net {mass}", mass=self.mass)] if self.mass else []),
            *([tr("Ingredients: {ingredients}.", ingredients=ingredients)] if ingredients else []),
            self.allergens.statement(),
            *([hint] if (hint := suggested(self.ingredients, self.allergens)) else []),
            tr("Packed {packed}", packed=f"{day(self.packed)} {self.packed:%Y-%m-%d %H:%M}"),
            until,
            tr(KEEP[self.keep]),
            tr(REHEAT),
            *([tr(VACUUM)] if self.vacuum else []),
            *([self.firm] if self.firm else []),
        ]


def until_by_default(keep: Keep, packed: datetime) -> datetime:
    """Return when food packed at a time has to be used or thrown away.

    Cold: the seventh day, counting the day of packing as the first. Hot: four hours on, as
    where time is the control; shorter where it was out of control before.
    """
    if keep == "cold":
        return packed + timedelta(days=COLD_DAYS - 1)
    return packed + timedelta(hours=HOT_HOURS)


def label_sheet(label: Label) -> Sheet:
    """Return a label as a sheet."""
    blocks: list[Block] = [Lines(tuple(label.lines()))]
    if label.code:
        blocks.append(
            Picture(qr_svg(label.code), tr("QR code: {code}", code=label.code), width_mm=24)
        )
    return Sheet(label.name, blocks=tuple(blocks), cautions=CAUTIONS[1:2] + CAUTIONS[3:])


def label_bytes(label: Label) -> bytes:
    """Return a label as bytes for a receipt printer that speaks ESC/POS."""
    return b"".join(
        (
            escpos.BEGIN,
            escpos.big(label.name),
            *(escpos.line(text) for text in label.lines()),
            escpos.qr(label.code) if label.code else b"",
            escpos.CUT,
        )
    )


def qr_svg(text: str) -> str:
    """Return a QR code as SVG; with letters beyond ASCII it says that it is UTF-8 (ECI 26)."""
    import segno

    drawn: str = segno.make(text, micro=False, encoding="utf-8", eci=not text.isascii()).svg_inline(
        scale=3, border=4
    )
    return drawn
