"""How the firm's page says and draws things. Temperatures in F with C beside; times in UTC."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from pitlogger.hub.logs import ChannelMinutes
from pitlogger.hub.questions import ExceptionRow, NodeHealth, Standing
from pitlogger.views import words

WIDTH, HEIGHT, LEFT, FOOT = 720, 260, 44, 22
DAY_MS = 86_400_000
SERIES = ("var(--pit)", "var(--core-1)", "var(--core-2)", "var(--edge)", "var(--ink)")


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


@dataclass(frozen=True, slots=True)
class FirmWords:
    """Words at a moment."""

    now_ms: int
    alert = staticmethod(words.alert)
    cut = staticmethod(words.cut)

    def headline(self, pits: Sequence[Standing], exceptions: Sequence[ExceptionRow]) -> str:
        """Return the one sentence that matters first."""
        if not pits:
            return "No pit has been heard of yet."
        hit = [pit for pit in pits if pit.alarms]
        silent = [pit for pit in pits if pit.is_old]
        parts = []
        if hit:
            one = len(hit) == 1
            first = f"{hit[0].site}, {hit[0].name}"
            parts.append(f"{len(hit)} of {_count(len(pits), 'pit')} {'needs' if one else 'need'}"
                         f" a hand: {first}{'' if one else ' first'}.")  # fmt: skip
        else:
            parts.append(f"No alarm stands at {'the' if len(pits) == 1 else f'the {len(pits)}'}"
                         f" pit{'' if len(pits) == 1 else 's'} heard.")  # fmt: skip
        if silent:
            parts.append(f"{len(silent)} not heard for three minutes: what is shown there is old.")
        open_ones = [one for one in exceptions if not one.corrective]
        if exceptions:
            parts.append(f"{_count(len(exceptions), 'exception')} in 24 h,"
                         f" {len(open_ones)} without a corrective action on record.")  # fmt: skip
        return " ".join(parts)

    def ago(self, at_ms: int | None) -> str:
        """Return how long ago a moment is."""
        if at_ms is None:
            return "never"
        minutes = max(self.now_ms - at_ms, 0) // 60_000
        if minutes < 2:
            return "now"
        if minutes < 120:
            return f"{minutes} min ago"
        return f"{minutes // 60} h ago" if minutes < 2880 else f"{minutes // 1440} days ago"

    def clock(self, at_ms: int) -> str:
        """Return a time of day, with its date where it is not today's."""
        at, now = (datetime.fromtimestamp(ms / 1000, UTC) for ms in (at_ms, self.now_ms))
        return f"{at:%H:%M}" if at.date() == now.date() else f"{at:%Y-%m-%d %H:%M}"

    def degrees(self, milli_c: int | None) -> str:
        """Return a temperature in both scales."""
        if milli_c is None:
            return "not known"
        celsius = milli_c / 1000
        return f"{celsius * 1.8 + 32:.0f} °F, {celsius:.0f} °C"

    def stage(self, of: str) -> str:
        return words.stage(of) if of in words.STAGES else of

    def state(self, of: str) -> str:
        return words.state(of) if of in words.STATES else of

    def certificate(self, node: NodeHealth) -> str:
        """Return how long a node's certificate lasts."""
        if node.cert_until_ms is None:
            return "none: its bundles are signed alone"
        days = (node.cert_until_ms - self.now_ms) // DAY_MS
        return "out of date" if days < 0 else f"{days} days"

    def odd(self, node: NodeHealth) -> str:
        """Return what is odd about a node."""
        state = "" if node.state == "enrolled" else node.state
        return "; ".join(said for said in (state, node.odd) if said)

    def chart(self, lines: Sequence[ChannelMinutes]) -> list[dict[str, object]]:
        """Return a line's colour, name and SVG path each, as wide as the cook was long."""
        points = [point for line in lines for point in line.points]
        if not points:
            return []
        last = max(1, *(point[0] for point in points))
        low, high = self.range(lines)
        scale = (HEIGHT - FOOT) / (high - low)
        drawn = []
        for number, line in enumerate(lines):
            path, before = [], None
            for at, least, most in line.points:
                x = LEFT + (WIDTH - LEFT) * at / last
                y = (high - (least + most) / 2000 * 1.8 - 32) * scale
                path.append(f"{'L' if before is not None and at - before <= 3 else 'M'}"
                            f"{x:.1f} {y:.1f}")  # fmt: skip
                before = at
            drawn.append({"name": line.channel, "colour": SERIES[number % len(SERIES)],
                          "path": "".join(path), "dash": number // len(SERIES)})  # fmt: skip
        return drawn

    def range(self, lines: Sequence[ChannelMinutes]) -> tuple[int, int]:
        """Return the scale of a chart in whole 50 degrees F."""
        least = min((low for line in lines for _, low, _ in line.points), default=0)
        most = max((high for line in lines for _, _, high in line.points), default=0)
        bottom, top = (milli / 1000 * 1.8 + 32 for milli in (least, most))
        low = int(bottom // 50) * 50
        return low, max(int(-(-top // 50)) * 50, low + 50)

    def marks(self, lines: Sequence[ChannelMinutes]) -> list[tuple[float, str]]:
        """Return heights and figures of the scale."""
        low, high = self.range(lines)
        scale = (HEIGHT - FOOT) / (high - low)
        return [((high - at) * scale, f"{at}") for at in range(low, high + 1, 50)]

    def hours(self, lines: Sequence[ChannelMinutes]) -> list[tuple[float, str]]:
        """Return places and figures of the hours."""
        last = max((point[0] for line in lines for point in line.points), default=0)
        step = 60 if last <= 600 else 120 if last <= 1440 else 360
        return [(LEFT + (WIDTH - LEFT) * at / max(last, 1), f"{at // 60} h")
                for at in range(step, last + 1, step)]  # fmt: skip
