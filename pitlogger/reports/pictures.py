"""Pictures of yield as SVG: dot strip, enough-or-not curve.

Each takes the JSON document its command prints and returns a whole SVG text. Colours follow
the page (``currentColor``), every picture has a title and a text for those who cannot see it.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from typing import Any

from pitlogger.model.quantities import show_share
from pitlogger.views.language import tr, trn

_WIDTH, _HEIGHT = 640, 320
_LEFT, _RIGHT, _TOP, _BOTTOM = 76, 20, 52, 56
_OPEN = (
    f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH} {_HEIGHT}" role="img" '
    'aria-labelledby="t d" font-family="sans-serif" font-size="13" fill="currentColor">'
)


def _svg(title: str, described: str, body: Sequence[str]) -> str:
    return "\n".join(
        [
            _OPEN,
            f'<title id="t">{escape(title)}</title>',
            f'<desc id="d">{escape(described)}</desc>',
            f'<text x="{_LEFT}" y="20" font-weight="bold">{escape(title)}</text>',
            *body,
            "</svg>",
            "",
        ]
    )


def _text(x: float, y: float, text: str, anchor: str = "middle") -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(text)}</text>'


def _rect(x: float, y: float, width: float, style: str) -> str:
    """Return a bar from ``y`` down to the foot of the picture."""
    height = _HEIGHT - _BOTTOM - y
    return f'<rect x="{x:.1f}" y="{y:.1f}" width="{width:.1f}" height="{height:.1f}" {style}/>'


def _line(xs: tuple[float, float], ys: tuple[float, float], style: str) -> str:
    ends = f'x1="{xs[0]:.1f}" x2="{xs[1]:.1f}" y1="{ys[0]:.1f}" y2="{ys[1]:.1f}"'
    return f'<line {ends} stroke="currentColor" {style}/>'


def _y(share: float) -> float:
    """Return the height of a share of the vertical axis, 0 at its foot and 1 at its top."""
    return _HEIGHT - _BOTTOM - share * (_HEIGHT - _TOP - _BOTTOM)


def yield_strip(cut: str, shares_pct: Sequence[float], learned: dict[str, Any]) -> str:
    """Return past yields as dots over the band where the next cook is expected.

    Args:
        cut: Shown in the title.
        shares_pct: Servable % of purchased, oldest first.
        learned: As ``learned`` of ``pitlogger yield --json``.
    """
    ends: list[float] = [*shares_pct, 100 * learned["p2_5"], 100 * learned["p97_5"]]
    low, high = min(ends) - 1.0, max(ends) + 1.0
    wide = _WIDTH - _LEFT - _RIGHT

    def x(pct: float) -> float:
        return _LEFT + (pct - low) / (high - low) * wide

    band, middle = (x(100 * learned["p10"]), x(100 * learned["p90"])), x(100 * learned["median"])
    body = [
        _rect(band[0], _TOP, band[1] - band[0], 'fill-opacity="0.12"'),
        _line((middle, middle), (_TOP, _y(0)), 'stroke-dasharray="4 3"'),
        _text(
            middle,
            _y(0) + 36,
            tr("next cook {share}, band 8 in 10", share=show_share(learned["median"], 1)),
        ),
    ]
    body += [
        _text(place, _y(0) + 18, show_share(learned[end], 1))
        for place, end in zip(band, ("p10", "p90"), strict=True)
    ]
    for place, pct in enumerate(shares_pct):
        y = _y((place + 0.5) / len(shares_pct))
        body.append(f'<circle cx="{x(pct):.1f}" cy="{y:.1f}" r="4"/>')
    told = ", ".join(f"{pct:.1f} %" for pct in shares_pct) or tr("no cook yet")
    title = trn(
        "{cut}: servable yield of purchased, {count} cook",
        "{cut}: servable yield of purchased, {count} cooks",
        len(shares_pct),
        cut=cut,
    )
    return _svg(title, told, body)


def enough_curve(document: dict[str, Any]) -> str:
    """Return the probability of enough against the number of pieces.

    Args:
        document: As printed by ``pitlogger plan --json``.
    """
    options = document["options"]
    wide = (_WIDTH - _LEFT - _RIGHT) / max(1, len(options))
    every = max(1, len(options) // 12)
    points, body = [], []
    for place, option in enumerate(options):
        x, y = _LEFT + (place + 0.5) * wide, _y(option["p_enough"])
        points.append(f"{x:.1f},{y:.1f}")
        chosen = option["pieces"] == document["recommended"]
        body.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{6 if chosen else 3}"/>')
        if chosen or place % every == 0:
            body.append(_text(x, _y(0) + 18, str(option["pieces"])))
        if chosen:
            p = option["p_enough"]  # nothing is quite certain
            body.append(_text(x, y - 10, show_share(p, 1) if p < 0.9995 else "> 99.9 %"))
    for share in (0.0, 0.5, 1.0):
        body.append(_text(_LEFT - 8, _y(share) + 4, show_share(share), "end"))
        body.append(_line((_LEFT, _WIDTH - _RIGHT), (_y(share), _y(share)), 'stroke-opacity="0.2"'))
    line = f'<polyline points="{" ".join(points)}" fill="none" stroke="currentColor"/>'
    told = ", ".join(f"{o['pieces']}: {show_share(o['p_enough'], 1)}" for o in options)
    caption = _text(_WIDTH / 2, _y(0) + 40, tr("pieces"))
    return _svg(tr("Is it enough?"), told, [line, *body, caption])
