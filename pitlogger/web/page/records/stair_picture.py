"""The stair of one piece as a picture: flat from weighing to weighing, a riser for each loss.

Equal steps to the right, since only the order counts here; the joined chart has the time.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from pitlogger.views.shown import Shown, percent

_STEP, _HEIGHT, _TOP, _BOTTOM = 70, 130, 22, 26
_LINE = 'fill="none" stroke="currentColor" stroke-width="3"'


def stair_picture(
    piece: str, steps: Sequence[tuple[str, int]], shown: Shown, first_mg: int | None
) -> str:
    """Return an SVG, empty where fewer than two weighings make no stair.

    Args:
        steps: Label and net mass in milligrams of each weighing, in order.
        first_mg: What was bought, for shares; ``None`` where it was not weighed.
    """
    if len(steps) < 2:
        return ""
    masses = [mass for _, mass in steps]
    low = max(0, min(masses) - (max(masses) - min(masses) or max(masses)) // 2)
    span = max(masses) - low

    def y(mass_mg: int) -> float:
        return _TOP + (1 - (mass_mg - low) / span) * (_HEIGHT - _TOP - _BOTTOM)

    path, texts = f"M0 {y(masses[0]):.1f}", []
    for place, (label, mass) in enumerate(steps):
        x = place * _STEP
        path += f"V{y(mass):.1f}H{x + _STEP}" if place else f"H{_STEP}"
        told = percent(mass / first_mg, 0) if first_mg else shown.mass(mass)
        texts.append(_text(x + 2, y(mass) - 7, told, 'font-weight="700"'))
        texts.append(_text(x + 2, _HEIGHT - 6, label))
    words = "; ".join(f"{label} {shown.mass(mass)}" for label, mass in steps)
    wide = len(steps) * _STEP
    return (
        f'<svg viewBox="0 0 {wide} {_HEIGHT}" width="{wide}" height="{_HEIGHT}" role="img"'
        f' aria-label="{escape(f"{piece}: {words}")}" fill="currentColor">'
        f'<path d="{path}" {_LINE}/>{"".join(texts)}</svg>'
    )


def _text(x: float, y: float, text: str, style: str = "") -> str:
    return f'<text x="{x}" y="{y:.1f}" font-size="14" {style}>{escape(text)}</text>'
