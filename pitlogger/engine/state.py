"""Everything the engine knows, as plain serialisable values.

A snapshot is this state dumped; what the engine compiles from it is rebuilt on loading.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from pitlogger.engine.gaps import Gap
from pitlogger.engine.inputs import ForecastMemory
from pitlogger.inference.recogniser import Sight
from pitlogger.model.belonging import cooks_of
from pitlogger.model.book import Book
from pitlogger.model.journal import Entry, ForecastMade, LocalScore
from pitlogger.model.readings import Quality
from pitlogger.pipeline.grate import Grate
from pitlogger.pipeline.lid import PitTrend
from pitlogger.pipeline.steady import Steadiness
from pitlogger.pipeline.stuck import Stillness
from pitlogger.pipeline.trend import Trend
from pitlogger.rules.conditions import Watch
from pitlogger.safety.live import PieceClocks
from pitlogger.yields.weighing.pile import Pile

GAPS_KEPT = 11
MINUTE_MS = 60_000
OUTLIVES_COOKS = frozenset(
    {
        "check-overdue",
        "clock-unset",
        "device-lost",
        "disk-low",
        "node-slow",
        "notify-failing",
        "store-failing",
        "uplink-behind",
    }
)
LEVEL_TIME_MS = 20_000  # time constant of the short-time level
NOT_BELIEVED = frozenset({"air", "stuck", "swapped"})
NO_CREDIT = frozenset({"drifting", "check"})


@dataclass(slots=True)
class ChannelState:
    """What is known of one channel.

    Attributes:
        value: Last believable value, adjusted, milli-units.
        level: Short-time level of it: noise taken out, 20 s behind a ramp.
        heard_ms: When anything last came, ``good_ms`` when a believable value did.
        gaps_ms: The last intervals between readings, for channels that declare none.
        minutes_ms: Start of each minute with readings; ``minutes_mc`` their means.
        doubt: Why its probe is in doubt though it answers (``engine.instruments``), since or
            last seen at ``doubt_ms``; ``said_ms`` is when the last doubt was settled.
        air_since_ms: Since when a core on the pit has read what meat never does.
        contradicted: Whether a hand reading lies too far from it, and none that agrees came since.
    """

    id: str
    value: int | None = None
    level: float = 0.0
    quality: Quality = Quality.NO_VALUE
    heard_ms: int = -1
    good_ms: int = -1
    stale: bool = False
    suspect: int | None = None
    gaps_ms: list[int] = field(default_factory=list)
    trend: Trend = field(default_factory=Trend)
    steadiness: Steadiness = field(default_factory=Steadiness)
    minutes_ms: list[int] = field(default_factory=list)
    minutes_mc: list[int] = field(default_factory=list)
    pit: PitTrend = field(default_factory=PitTrend)
    recent_pit_mc: list[int] = field(default_factory=list)  # a bin each, a minute of them
    first_ms: int = -1  # when a pit was first heard
    armed: bool = False  # whether the band of a pit is watched yet
    still: Stillness = field(default_factory=Stillness)
    doubt: str = ""
    doubt_ms: int = -1
    said_ms: int = -1
    air_since_ms: int | None = None
    contradicted: bool = False
    recent: list[tuple[int, int]] = field(default_factory=list)  # a core: ten minutes of readings
    jumped: tuple[int, int] | None = None  # the last one before it changed as no meat can
    told: tuple[str, int] | None = None  # the doubt that stands in the journal: why, since when

    def valid(self) -> bool:
        """Return whether its value may be judged."""
        return self.heard_well() and self.is_believed()

    def heard_well(self) -> bool:
        """Return whether it has a value and was heard of late."""
        return self.value is not None and not self.stale and self.quality is Quality.GOOD

    def is_believed(self) -> bool:
        """Return whether its probe is where it belongs and alive, for all that is known."""
        return self.air_since_ms is None and self.jumped is None and self.doubt not in NOT_BELIEVED

    def gives_credit(self) -> bool:
        """Return whether what it reads may show that a limit is met: judged it is in any case."""
        return self.valid() and self.doubt not in NO_CREDIT and not self.contradicted

    def keep_minute(self, t_ms: int) -> None:
        """Keep one level a minute for the forecasts."""
        level = self.trend.level_mc
        minutes = self.minutes_ms
        if level is not None and (not minutes or t_ms - minutes[-1] >= MINUTE_MS):
            minutes.append(t_ms)
            self.minutes_mc.append(level)


@dataclass(slots=True)
class Load:
    """Something that came to rest on a scale and has no name yet.

    ``of`` is its checkpoint where that is known, as on a load cell under a grate.
    """

    channel: str
    level_mg: int
    net_mg: int
    at_ms: int
    interval_mg: int
    of: str = ""


@dataclass(slots=True)
class EngineState:
    """The whole engine between two steps.

    Attributes:
        run: This process life.
        seq: Of the last journal entry.
        t_ms: Time of the last input, ``tick_ms`` of the last tick.
        entries: The journal of the running cook that the book is folded from.
        keys: Idempotency keys of accepted commands and the (run, seq) they became.
        origins: For replay: where entries stand that had another identity once.
    """

    run: str
    seq: int = 0
    t_ms: int = 0
    tick_ms: int | None = None
    entries: list[Entry] = field(default_factory=list)
    channels: dict[str, ChannelState] = field(default_factory=dict)
    watches: dict[str, Watch] = field(default_factory=dict)
    keys: dict[str, tuple[str, int]] = field(default_factory=dict)
    origins: dict[str, tuple[str, int]] = field(default_factory=dict)
    forecast_ms: int | None = None
    forecasts: dict[str, ForecastMemory] = field(default_factory=dict)  # by piece/target
    foreseen: dict[str, ForecastMade] = field(default_factory=dict)  # by piece/target
    taught: tuple[LocalScore, ...] = ()  # by the owner's earlier cooks
    minute_ms: int | None = None
    clocks: dict[str, PieceClocks] = field(default_factory=dict)  # by piece
    clock_marks: dict[str, list[str]] = field(default_factory=dict)  # the stages they know
    gaps: list[Gap] = field(default_factory=list)
    stall_ended_ms: dict[str, int] = field(default_factory=dict)
    routines: dict[str, int] = field(default_factory=dict)  # when each timer falls due, by alert
    read_ms: dict[str, int] = field(default_factory=dict)  # when a core was last read, by piece
    softened: dict[str, float] = field(default_factory=dict)  # tenderness index, by piece
    touched: dict[str, str] = field(default_factory=dict)  # raw or cooked, by scale or probe
    sights: dict[str, Sight] = field(default_factory=dict)  # stages as recognised, by piece
    grates: dict[str, Grate] = field(default_factory=dict)  # load cells under grates and pans
    piles: dict[str, Pile] = field(default_factory=dict)  # what lies on each scale
    loads: list[Load] = field(default_factory=list)  # loads that wait for a name
    broken: list[str] = field(default_factory=list)  # pieces with a probe silent or in doubt

    def forget_pieces(self, pieces: frozenset[str], entries: list[Entry]) -> None:
        """Forget the pieces of a finished cook while others go on.

        Args:
            entries: What is left of the journal without that cook's own.
        """
        self.entries[:] = entries
        by_piece: tuple[dict[str, Any], ...] = (
            self.clocks, self.clock_marks, self.stall_ended_ms, self.read_ms, self.softened,
            self.forecasts, self.foreseen, self.sights,
        )  # fmt: skip
        for known in by_piece:
            for key in [key for key in known if key.partition("/")[0] in pieces]:
                del known[key]
        for piece in pieces:
            self.channels.pop(f"{piece}/spot", None)
        self.broken[:] = [piece for piece in self.broken if piece not in pieces]
        for key in [key for key, watch in self.watches.items() if watch.piece in pieces]:
            del self.watches[key]

    def forget_finished(self, book: Book) -> None:
        """Forget the cooks that are finished, now that another begins."""
        going_on = book.open_cooks().keys()
        if not going_on:
            self.forget_cook()
            return
        over = frozenset(piece for piece, held in book.pieces.items() if held.cook not in going_on)
        kept = [
            entry
            for entry in self.entries
            if not going_on.isdisjoint(cooks_of(entry.body, book, self.entries))
        ]
        if over:
            self.forget_pieces(over, kept)

    def forget_cook(self) -> None:
        """Forget the last cook and all that was read before this one.

        What a cook's alerts rest on then lies in its own record, so that its export replays
        to the same alerts. Lost devices and other troubles outlive cooks.
        """
        for kept in (self.entries, self.origins, self.forecasts, self.foreseen, self.clocks,
                     self.clock_marks, self.gaps, self.stall_ended_ms, self.read_ms, self.softened,
                     self.routines, self.broken, self.sights, self.loads):  # fmt: skip
            kept.clear()
        for key, watch in list(self.watches.items()):
            if watch.kind not in OUTLIVES_COOKS:
                del self.watches[key]
        self.taught = ()
        self.channels = {channel: ChannelState(channel) for channel in self.channels}
