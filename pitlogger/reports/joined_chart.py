"""The picture of a cook: temperatures above, the weight ledger below, one time axis.

The ledger is a stair that steps only at a weighing: a tread says that nothing is known between
two weighings (hatched where longer than two hours), a riser is the mass lost. Gaps in the
data are gaps in the line.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from html import escape

from pitlogger.model.quantities import fahrenheit
from pitlogger.model.readings import Site
from pitlogger.reports.cook_record import CookRecord
from pitlogger.reports.gathering import GAP_MS
from pitlogger.store.rows import ChartLine
from pitlogger.views import shown, words
from pitlogger.views.language import tr

WIDTH, HEIGHT = 940, 340
LEFT, RIGHT, TOP = 46, 150, 34
UPPER_FOOT, LOWER_TOP, LOWER_FOOT = 208, 232, 312
HOUR_MS = 3_600_000
HATCHED_MS = 2 * HOUR_MS
SAME_MS = 20 * 60_000
LABEL_WIDTH = 128
DASHES = ("", "7 3", "2 3", "9 3 2 3", "12 4")
MOST_LINES = 5

_OPEN = (
    f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" '
    'aria-labelledby="chart-title" font-family="sans-serif" font-size="11" fill="#111">'
)
_HATCH = (
    '<defs><pattern id="hatch" width="6" height="6" patternUnits="userSpaceOnUse" '
    'patternTransform="rotate(45)"><line x1="0" y1="0" x2="0" y2="6" stroke="#111" '
    'stroke-width="1"/></pattern></defs>'
)


@dataclass(frozen=True, slots=True)
class _Scale:
    """From values to places on the picture."""

    from_ms: int
    to_ms: int
    low: float
    high: float

    def x(self, t_ms: float) -> float:
        share = (t_ms - self.from_ms) / max(1, self.to_ms - self.from_ms)
        return LEFT + share * (WIDTH - LEFT - RIGHT)

    def y(self, value: float, top: int, foot: int) -> float:
        return foot - (value - self.low) / max(1e-9, self.high - self.low) * (foot - top)


def joined_chart(record: CookRecord) -> str:
    """Return the picture of a cook as an SVG document."""
    parts = [
        _OPEN,
        f'<title id="chart-title">{escape(described(record))}</title>',
        _HATCH,
        *_temperatures(record),
        *_stair(record),
        *_stages(record),
        "</svg>",
    ]
    return "\n".join(parts) + "\n"


def described(record: CookRecord) -> str:
    """Return the picture in one sentence."""
    channels = ", ".join(line.channel for line in _shown(record)) or tr("no temperature")
    weighings = sum(len(held.weighings) for held in record.book.pieces.values())
    wall = record.wall
    return tr(
        "{name}, {begin} to {end}: {channels}; {weighings} weighings",
        name=record.cook.name,
        begin=wall.full(record.start_ms),
        end=wall.full(record.end_ms),
        channels=channels,
        weighings=weighings,
    )


def _shown(record: CookRecord) -> list[ChartLine]:
    """Return the pit and the core lines, at most five."""
    order = (Site.PIT, Site.CORE)
    lines = [line for line in record.lines if line.at_ms and _site(record, line) in order]
    lines.sort(key=lambda line: (order.index(_site(record, line)), line.channel))
    return lines[:MOST_LINES]


def _site(record: CookRecord, line: ChartLine) -> Site:
    """Return where a channel sat longest; a probe ends many a night in a drawer."""
    lasted: dict[Site, int] = {}
    for held in record.book.channels.get(line.channel, []):
        until_ms = record.end_ms if held.to_ms is None else held.to_ms
        site = held.channel.site
        lasted[site] = lasted.get(site, 0) + until_ms - held.from_ms
    return max(lasted, key=lambda site: lasted[site], default=Site.NONE)


def _temperatures(record: CookRecord) -> Iterator[str]:
    unit = record.units.temperature

    def shown(milli_c: float) -> float:
        return fahrenheit(milli_c) if unit == "F" else milli_c / 1000

    lines = _shown(record)
    values = [shown(value) for line in lines for value in (*line.low, *line.high)]
    step = 50 if unit == "F" else 25
    low = float((min(values, default=0) // step) * step)
    high = float(-(-max(values, default=step) // step) * step)
    scale = _Scale(record.start_ms, record.end_ms, low, max(high, low + step))
    yield from _hours(record, scale)
    value = low
    while value <= scale.high:
        y = scale.y(value, TOP, UPPER_FOOT)
        yield _line(LEFT, y, WIDTH - RIGHT, y, "#bbb")
        yield _text(LEFT - 6, y + 4, f"{value:g}", "end")
        value += step
    yield _text(LEFT - 6, TOP - 12, unit, "end")
    names: list[tuple[float, str, str]] = []
    for number, line in enumerate(lines):
        is_pit = _site(record, line) is Site.PIT
        width, dash = (1.2, "") if is_pit else (2, DASHES[number % len(DASHES)])
        points = [
            (scale.x(t_ms), scale.y(shown(mean), TOP, UPPER_FOOT), t_ms)
            for t_ms, mean in zip(line.at_ms, line.mean, strict=True)
        ]
        yield _path(points, width, dash)
        names.append((points[-1][1], line.channel, dash))
    yield from _names(names)


def _names(names: list[tuple[float, str, str]]) -> Iterator[str]:
    """Yield the names at the right ends of the lines, none over another."""
    x, free = WIDTH - RIGHT + 6, float(TOP)
    for y, name, dash in sorted(names):
        at = max(y, free)
        free = at + 13
        yield _line(x, at, x + 24, at, "#111", 2, dash)
        yield _text(x + 28, at + 4, name[:20])


def _path(points: list[tuple[float, float, int]], width: float, dash: str) -> str:
    """Return a line that breaks where the data does."""
    moves = []
    before = None
    for x, y, t_ms in points:
        new = before is None or t_ms - before > GAP_MS
        moves.append(f"{'M' if new else 'L'}{x:.1f} {y:.1f}")
        before = t_ms
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return f'<path d="{"".join(moves)}" fill="none" stroke="#111" stroke-width="{width}"{dashed}/>'


def _hours(record: CookRecord, scale: _Scale) -> Iterator[str]:
    span_h = (record.end_ms - record.start_ms) / HOUR_MS
    step_ms = HOUR_MS * (1 if span_h <= 8 else 2 if span_h <= 20 else 6)
    first = record.wall.moment(record.start_ms)
    past_ms = ((first.hour * 60 + first.minute) * 60 + first.second) * 1000
    t_ms = record.start_ms + (-past_ms) % step_ms
    while t_ms <= record.end_ms:
        x = scale.x(t_ms)
        yield _line(x, TOP, x, LOWER_FOOT, "#ddd")
        yield _text(x, LOWER_FOOT + 16, record.wall.clock(t_ms), "middle")
        t_ms += step_ms


def _stair(record: CookRecord) -> Iterator[str]:
    steps = _kept(record)
    if not steps:
        yield _text(LEFT, LOWER_TOP + 14, tr("no weighings"))
        return
    scale = _Scale(record.start_ms, record.end_ms, 0, max(mass for _, mass, _ in steps))
    yield _text(LEFT - 6, LOWER_TOP + 4, "mass", "end")
    yield _line(LEFT, LOWER_FOOT, WIDTH - RIGHT, LOWER_FOOT, "#111")
    told_x = -100.0
    for number, (t_ms, mass, name) in enumerate(steps):
        last = number + 1 == len(steps)
        until_ms = record.end_ms if last else steps[number + 1][0]
        x, right = scale.x(t_ms), scale.x(until_ms)
        y = scale.y(mass, LOWER_TOP, LOWER_FOOT)
        fill = "url(#hatch)" if until_ms - t_ms > HATCHED_MS else "none"
        yield (
            f'<rect x="{x:.1f}" y="{y:.1f}" width="{max(0, right - x):.1f}" '
            f'height="{LOWER_FOOT - y:.1f}" fill="{fill}" fill-opacity="0.18" stroke="none"/>'
        )
        yield _line(x, y, right, y, "#111", 2)
        if not last:
            below = scale.y(steps[number + 1][1], LOWER_TOP, LOWER_FOOT)
            yield _line(right, y, right, below, "#111", 2)
        told = f"{words.checkpoint(name)} {shown.mass(mass, record.units.mass)}"
        if last:
            yield _text(right + 6, y + 4, told)
        elif number == 0 or (x - told_x > LABEL_WIDTH and right - x > LABEL_WIDTH / 2):
            told_x = x
            yield _text(x + 3, y - 4, told)


def _kept(record: CookRecord) -> list[tuple[int, int, str]]:
    """Return time, mass and checkpoint of the weighings of the main chain, all pieces together.

    Only checkpoints at which every first piece was weighed are summed: half a sum would look
    like a loss.
    """
    first = [held for held in record.book.pieces.values() if not held.piece.parents]
    found: dict[str, list[tuple[int, int]]] = {}
    for held in first:
        for weighing in held.weighings:
            weighed = weighing.weighed
            if weighed.checkpoint in MAIN:
                found.setdefault(weighed.checkpoint, []).append((weighed.at_ms, weighed.net_mg))
    whole = [
        (max(at for at, _ in kept), sum(mass for _, mass in kept), checkpoint)
        for checkpoint, kept in found.items()
        if len(kept) == len(first)
    ]
    return sorted(whole)


MAIN = (
    "purchased", "thawed", "brined", "trimmed", "seasoned", "on-pit", "at-wrap", "unwrapped",
    "off-pit", "rested", "out-of-hold", "carved", "sauced", "served",
)  # fmt: skip


def _stages(record: CookRecord) -> Iterator[str]:
    scale = _Scale(record.start_ms, record.end_ms, 0, 1)
    flags = sorted(
        (span.from_ms, words.stage_flag(span.stage))
        for held in record.book.pieces.values()
        for span in held.spans()
    )
    ends = [-1000.0, -1000.0]
    said: dict[str, int] = {}
    for t_ms, name in flags:
        if not record.start_ms <= t_ms <= record.end_ms:
            continue
        if t_ms - said.get(name, -SAME_MS) < SAME_MS:
            continue  # the other pieces of a batch, minutes later
        said[name] = t_ms
        x = scale.x(max(t_ms, record.start_ms))
        yield _line(x, TOP - 6, x, LOWER_FOOT, "#111", 0.8)
        row = 0 if x > ends[0] else 1
        if x > ends[row]:
            ends[row] = x + 6.2 * len(name) + 8
            yield _text(x + 2, TOP - 22 + 12 * row, name)


def _text(x: float, y: float, text: str, anchor: str = "start") -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(text)}</text>'


def _line(
    x1: float, y1: float, x2: float, y2: float, colour: str, width: float = 1, dash: str = ""
) -> str:
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    ends = f'x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}"'
    return f'<line {ends} stroke="{colour}" stroke-width="{width}"{dashed}/>'
