"""The lookout: conditions that no single limit tells, judged each bin and each minute.

    bin (10 s)   safety clocks of a piece
    minute       what the clocks say; stall, rest, weighings, finish against service
    five minutes what the forecasts of holding and cooling say

Clocks run on the coldest and warmest valid core; they judge a record afterwards by the same
code, so a live alarm and the verdict agree.
"""

from __future__ import annotations

from copy import deepcopy

from pitlogger.engine.annunciator import Annunciator
from pitlogger.engine.compiled_channel import Lane
from pitlogger.engine.gaps import across
from pitlogger.engine.state import ChannelState, EngineState
from pitlogger.engine.watch.cores import (
    all_cores,
    are_whole,
    extremes,
    is_by_hand,
    valid_cores,
)
from pitlogger.engine.watch.finish import look_ahead
from pitlogger.engine.watch.holding import holding
from pitlogger.engine.watch.lineage import lineage_of
from pitlogger.engine.watch.without import Without
from pitlogger.model.book import Book, PieceBook
from pitlogger.model.cooks import BEFORE_FIRE, HOT_OFF_PIT, ON_PIT, Stage
from pitlogger.model.journal import ChannelAssigned, SpotRead, Weighed
from pitlogger.model.quantities import milli_c_from_fahrenheit, show_duration, show_temperature
from pitlogger.rules.messages import Units
from pitlogger.rules.tenderness import has_index, index_words, softened
from pitlogger.safety.cooling import COOLING, steps_of
from pitlogger.safety.history import PieceHistory
from pitlogger.safety.instruments.belief import CONTRADICTS_MC, DoubtReason
from pitlogger.safety.live import PieceClocks, clocks_for, run
from pitlogger.safety.policy import Policy as SafetyPolicy

MINUTE_MS = 60_000
FORESIGHT_MS = 5 * MINUTE_MS
RETOLD_MS = 90_000  # a stage set so late is still taken as now
BOXED_UNDER_MC = milli_c_from_fahrenheit(195.0)  # common practice, no source
VENT_IT = "Open the wrap for some minutes: boxed so hot it goes on cooking."
ENDED_SHOWN_MS = 30 * MINUTE_MS
WEIGH_SHOWN_MS = 45 * MINUTE_MS
HOLD_WARNING_S = 45 * 60
HAND_CHECK_MS = 60 * MINUTE_MS
# Stages whose checkpoint is asked for where a person weighs.
WEIGHED_AT = {Stage.TRIMMED: "trimmed", Stage.WRAPPED: "at-wrap", Stage.CARVED: "carved"}
_BY_LIMIT = frozenset({"hot-hold-low"})  # judged reading by reading, not by its clock


class Lookout:
    """Judges conditions of pieces and pits; raises them with the annunciator."""

    def __init__(
        self, state: EngineState, alerts: Annunciator, safety: SafetyPolicy, units: Units
    ) -> None:
        self.state = state
        self.alerts = alerts
        self.safety = safety
        self.units = units
        self._without: dict[str, Without] = {}  # of the last hand reading

    # -- pieces ---------------------------------------------------------------------------

    def follow(self, book: Book, t_ms: int) -> None:
        """Bring the safety clocks to the stages as the book has them now."""
        for piece, held in book.pieces.items():
            if not held.is_open:
                continue
            marks = [] if held.by_time is None else [f"{held.by_time}"]
            marks += [f"{mark.stage.value}@{mark.at_ms}" for mark in held.marks]
            known = self.state.clock_marks.get(piece)
            if known == marks:
                continue
            if known is None:
                self.state.clocks[piece] = clocks_for(held.piece, self.safety)
                if held.piece.parents:  # its meat has a past
                    self._rerun(book, piece)
            clocks = self.state.clocks[piece]
            last = held.marks[-1] if held.marks else None
            if last is not None and (known or []) == marks[:-1] and last.at_ms >= t_ms - RETOLD_MS:
                clocks.enter(last.stage, last.at_ms, self.safety)
                if piece in self._without:
                    self._without[piece].clocks.enter(last.stage, last.at_ms, self.safety)
            elif marks or known:
                self._without.pop(piece, None)
                self._rerun(book, piece)
                self._tell_breach(piece, clocks, t_ms)
            self.state.clock_marks[piece] = marks

    def _rerun(self, book: Book, piece: str) -> None:
        """Run a piece's clocks anew over the minutes kept: a stage was set in the past."""
        if lineage := lineage_of(self.state, book, piece):
            self._contradict(lineage[-1])
            known = [across(history, self.state.gaps) for history in lineage]
            self.state.clocks[piece] = run(known, self.safety)

    def doubt_told(self, book: Book, piece: str | None) -> None:
        """Run the clocks of a piece anew: somebody said where its probe was, or was not."""
        if piece in book.pieces and self.state.clock_marks.get(piece or ""):
            self._without.pop(piece or "", None)
            self._rerun(book, piece or "")

    def retold(self, book: Book, body: ChannelAssigned, other: Book) -> None:
        """Run the clocks anew of pieces whose probe was said to have sat elsewhere.

        Args:
            other: The book without that word.
        """
        sat = [other.assignment(name or "") for name in (body.channel.id, body.swapped_with)]
        for piece in {body.channel.piece, *(one.channel.piece for one in sat if one)}:
            self.doubt_told(book, piece)

    def _contradict(self, history: PieceHistory) -> None:
        """Take no credit from a probe that a hand reading contradicts until one agrees."""
        for core in history.cores:
            state = self.state.channels.get(core.channel)
            if state is not None and core.points:
                state.contradicted = any(
                    doubt.why is DoubtReason.HAND and doubt.to_ms >= core.points[-1][0]
                    for doubt in core.doubts
                )

    def gap_known(self, book: Book, gap_ms: int, t_ms: int) -> None:
        """Judge the safety clocks again, now that it is known how long the power was off."""
        unknown = [gap for gap in self.state.gaps if gap.ms is None]
        if not unknown:
            return
        unknown[-1].ms = gap_ms
        off = show_duration(gap_ms)
        for piece, held in book.pieces.items():
            if not held.is_open or not held.marks:
                continue
            self._rerun(book, piece)
            for told in self.state.clocks[piece].told(t_ms, self.safety, unsaid=held.is_unsaid):
                if not told.is_true:
                    words = f"{piece}: judged again, {off} without power: {told.message}"
                    self.alerts.withdraw(f"{told.kind}/{piece}", t_ms, words)

    def core_bin(self, book: Book, piece: str, t_ms: int) -> None:
        """Take the coldest and warmest valid core of a piece; hand readings go another way."""
        clocks = self.state.clocks.get(piece)
        if clocks is None:
            return
        cores = valid_cores(self.state, book, piece, t_ms)
        probes = [core for core in cores if not is_by_hand(core)]
        found = extremes(probes)
        if not cores and book.pieces[piece].stage not in ON_PIT:
            found = extremes(all_cores(self.state, book, piece, t_ms))  # for alarms alone
        if cores or found is not None:
            self.state.read_ms[piece] = t_ms
        whole = are_whole(self.state, book, piece)
        if not whole and piece not in self.state.broken:
            self.state.broken.append(piece)
        if found is None:
            return
        if whole and piece in self.state.broken:
            self.state.broken.remove(piece)
            self._rerun(book, piece)
            clocks = self.state.clocks[piece]
        sure = len(probes) > 1
        clocks.update(t_ms, *found, whole=whole, sure=sure)
        if (kept := self._without.get(piece)) is not None:
            kept.clocks.update(t_ms, *found, whole=whole, sure=sure)

    def by_hand(self, book: Book, spot: SpotRead, t_ms: int, entry: str) -> None:
        """Take a hand reading into the clocks of a piece, which join what the verdict joins.

        How they stood goes on beside them, should its ``entry`` be taken back.
        """
        piece = spot.piece or ""
        before = self.state.clocks.get(piece)
        if before is None or not self.state.clock_marks.get(piece):
            return
        self._without[piece] = Without(entry, deepcopy(before))
        self.state.read_ms[piece] = max(spot.at_ms, self.state.read_ms.get(piece, 0))
        if t_ms - spot.at_ms > RETOLD_MS:
            self._rerun(book, piece)
            self._tell_breach(piece, before, t_ms, entry)
        elif not self._goes_along(book, piece, spot, t_ms):
            self._rerun(book, piece)

    def _goes_along(self, book: Book, piece: str, spot: SpotRead, t_ms: int) -> bool:
        """Take a hand reading beside probes that are all heard and agree; else leave it."""
        cores = valid_cores(self.state, book, piece, t_ms)
        read = [core.value for core in cores if not is_by_hand(core) and core.value is not None]
        if not read or not are_whole(self.state, book, piece):
            return False
        if any(abs(value - spot.value_mc) > CONTRADICTS_MC for value in read):
            return False
        low_mc, high_mc = min(*read, spot.value_mc), max(*read, spot.value_mc)
        self.state.clocks[piece].update(t_ms, low_mc, high_mc, by_hand=True, sure=True)
        return True

    def _tell_breach(self, piece: str, before: PieceClocks, t_ms: int, entry: str = "") -> None:
        """Raise what no reading to come would: the hot-hold limit was not met in the past."""
        clocks = self.state.clocks[piece]
        if clocks.hold.breached_ms is None or before.hold.breached_ms is not None:
            return
        words = f"{piece}: was below the hot-hold limit, as is seen from what was entered late"
        self.alerts.raise_now("hot-hold-low", piece, t_ms, words, clocks.hold.worst_mc)
        if entry:
            self.state.watches[f"hot-hold-low/{piece}"].raised_by = entry

    def without(self, book: Book, piece: str, entry: str) -> None:
        """Bring the clocks of a piece to where they were if a hand reading had not been."""
        kept = self._without.pop(piece, None)
        if kept is not None and kept.entry == entry:
            self.state.clocks[piece] = kept.clocks
            if lineage := lineage_of(self.state, book, piece):
                self._contradict(lineage[-1])
        else:
            self._rerun(book, piece)

    def minute(self, book: Book, lanes: dict[str, Lane], t_ms: int) -> None:
        """Judge what is looked at once a minute."""
        for piece, held in book.pieces.items():
            if not held.is_open:
                continue
            clocks = self.state.clocks.get(piece)
            if clocks is not None:
                for told in clocks.told(t_ms, self.safety, unsaid=held.is_unsaid):
                    if told.kind not in _BY_LIMIT or held.stage in ON_PIT:
                        words = f"{piece}: {told.message}{self._assumed()}"
                        self.alerts.tell(told.kind, piece, t_ms, told.is_true, words, piece=piece)
            self._stall(book, held, t_ms)
            self._soften(book, held)
            self._rest(book, held, t_ms)
            self._weighing(held, t_ms)
            self._hand_check(held, t_ms)
            look_ahead(book, held, self.state, self.alerts, t_ms)
            if t_ms // MINUTE_MS % (FORESIGHT_MS // MINUTE_MS) == 0:
                self._foresee(book, held, lanes, t_ms)

    def _assumed(self) -> str:
        unknown = any(gap.ms is None for gap in self.state.gaps)
        return " (it is not known how long the power was off: taken as too long)" if unknown else ""

    def _lead(self, book: Book, piece: str) -> ChannelState | None:
        cores = book.cores(piece)
        return self.state.channels.get(cores[0]) if cores else None

    def _stall(self, book: Book, held: PieceBook, t_ms: int) -> None:
        piece = held.piece.id
        lead = self._lead(book, piece)
        stalled = held.stage is Stage.SMOKING and lead is not None and lead.trend.stalled
        began = self.state.watches.get(f"stall-began/{piece}")
        if lead is not None and began is not None and began.holds and not stalled:
            self.state.stall_ended_ms[piece] = t_ms
        level = "" if lead is None else show_temperature(lead.level, self.units.temperature)
        self.alerts.tell(
            "stall-began", piece, t_ms, stalled, f"{piece}: stalled at {level}", piece=piece
        )
        ended_ms = self.state.stall_ended_ms.get(piece)
        just = ended_ms is not None and t_ms - ended_ms < ENDED_SHOWN_MS
        self.alerts.tell("stall-ended", piece, t_ms, just and held.stage in ON_PIT,
                  f"{piece}: rising again, at {level}", piece=piece)  # fmt: skip

    def _soften(self, book: Book, held: PieceBook) -> None:
        """Take a minute into the tenderness index, and put it beside the prompts it is for."""
        piece = held.piece.id
        lead = self._lead(book, piece)
        if lead is None or not lead.valid() or lead.value is None or not has_index(held.piece):
            return
        share = softened(self.state.softened.get(piece, 0.0), lead.value, MINUTE_MS / 1000)
        self.state.softened[piece] = share
        for kind in ("tender-check-due", "pull-due"):
            if (watch := self.state.watches.get(f"{kind}/{piece}")) is not None:
                watch.note = index_words(share, lead.value)

    def _rest(self, book: Book, held: PieceBook, t_ms: int) -> None:
        """Tell when a piece has rested, by time or by temperature; and one boxed too hot."""
        piece = held.piece.id
        lead = self._lead(book, piece)
        level_mc = lead.level if lead is not None and lead.valid() else None
        rested_ms = t_ms - held.stage_since_ms if held.stage is Stage.RESTING else 0
        policy = self.alerts.policy
        cooled = rested_ms > 0 and level_mc is not None and level_mc <= policy.rest_until_mc
        rested = cooled or rested_ms >= policy.kitchen.rest_ms
        words = f"{piece}: rested for {show_duration(rested_ms)}"
        if level_mc is not None:
            words += f", at {show_temperature(level_mc, self.units.temperature)}"
        self.alerts.tell("rest-done", piece, t_ms, rested, words, piece=piece)
        hot = held.stage is Stage.HOLDING and level_mc is not None and level_mc > BOXED_UNDER_MC
        shown = "-" if level_mc is None else show_temperature(level_mc, self.units.temperature)
        self.alerts.tell("check-due", f"{piece}@vent", t_ms, hot, f"{piece}: boxed at {shown}",
                         VENT_IT, piece=piece)  # fmt: skip

    def _weighing(self, held: PieceBook, t_ms: int) -> None:
        piece = held.piece.id
        for stage, checkpoint in WEIGHED_AT.items():
            is_open = (
                held.stage is stage
                and bool(held.weighings)
                and held.net_mg(checkpoint) is None
                and t_ms - held.stage_since_ms < WEIGH_SHOWN_MS
            )
            words = f"{piece}: not weighed at {checkpoint} yet"
            self.alerts.tell(
                "weigh-due", f"{piece}@{checkpoint}", t_ms, is_open, words, piece=piece
            )

    def _hand_check(self, held: PieceBook, t_ms: int) -> None:
        """Ask for a hand reading of hot or cooling food nobody reads, and for a date mark."""
        piece = held.piece.id
        read_ms = self.state.read_ms.get(piece, 0)
        unread_ms = t_ms - max(read_ms, held.stage_since_ms)
        is_judged = held.stage in HOT_OFF_PIT or held.stage is Stage.COOLING
        if held.by_time is not None:  # six hours have a limit of temperature, four have none
            is_judged = held.stage is not Stage.SERVED and held.by_time.said.hours == 6
        due = is_judged and unread_ms >= HAND_CHECK_MS
        self.alerts.tell("check-due", piece, t_ms, due,
                  f"{piece}: no reading for {show_duration(unread_ms)}", piece=piece)  # fmt: skip
        self.alerts.tell("date-mark-due", piece, t_ms, held.stage is Stage.CHILLED,
                  f"{piece}: chilled, to be marked with its date", piece=piece)  # fmt: skip

    def _foresee(self, book: Book, held: PieceBook, lanes: dict[str, Lane], t_ms: int) -> None:
        """Warn of a hot-hold or cooling limit while there is still time."""
        from pitlogger.forecast.hold import cooling, hold_left

        lead = self._lead(book, held.piece.id)
        if lead is None or not lead.valid() or held.by_time is not None:
            return
        if held.stage in HOT_OFF_PIT:
            left = hold_left(holding(held, lead, lanes.values(), t_ms))
            watch = self.state.watches.get(f"hot-hold-near/{held.piece.id}")
            if watch is not None:
                settled = t_ms - held.stage_since_ms > 2 * self.alerts.policy.kitchen.rest_ms
                watch.forced = settled and left.p50_s is not None and left.p50_s < HOLD_WARNING_S
                for lane in lanes.values():
                    if lane.piece == held.piece.id:
                        lane.low, lane.high = 1, 0  # judge the next reading
        clocks = self.state.clocks[held.piece.id]
        falls = held.is_unsaid and held.stage in HOT_OFF_PIT and clocks.hold.is_in_breach(t_ms)
        if held.stage in COOLING or falls:
            clock = clocks.cooling
            started_ms = clock.started_ms
            if started_ms is not None:
                here = holding(held, lead, lanes.values(), t_ms)
                steps = clock.ends_s(steps_of(self.safety))
                seen = cooling(here, started_ms / 1000, steps)
                words = f"{held.piece.id}: {seen.advice}"
                self.alerts.tell("cooling-will-miss", held.piece.id, t_ms, seen.will_miss, words,
                          piece=held.piece.id)  # fmt: skip

    # -- hands -------------------------------------------------------------------------------

    def touched(self, book: Book, body: Weighed | SpotRead, t_ms: int) -> None:
        """Ask for washing where a scale or probe goes from raw to cooked meat."""
        tool = body.channel if isinstance(body, Weighed) else body.probe
        held = book.pieces.get(body.piece or "")
        if tool is None or held is None:
            return
        now = "raw" if held.stage_at(body.at_ms) in BEFORE_FIRE else "cooked"
        before = self.state.touched.get(tool)
        self.state.touched[tool] = now
        words = f"{tool}: touched raw meat before {held.piece.id}"
        self.alerts.tell("sanitize-due", tool, t_ms, before == "raw" and now == "cooked", words)

    def touched_anew(self, book: Book) -> None:
        """Find anew what each tool touched last, by the entries that count."""
        used: list[tuple[int, str, str]] = []
        for piece, held in book.pieces.items():
            used += [
                (one.weighed.at_ms, one.weighed.channel, piece)
                for one in held.weighings
                if one.weighed.channel is not None
            ]
        used += [
            (spot.at_ms, spot.probe, spot.piece)
            for _, spot in book.spots
            if spot.probe is not None and spot.piece in book.pieces
        ]
        for tool in {tool for _, tool, _ in used} | self.state.touched.keys():
            last = max((use for use in used if use[1] == tool), default=None)
            if last is None:
                self.state.touched.pop(tool, None)
                continue
            is_raw = book.pieces[last[2]].stage_at(last[0]) in BEFORE_FIRE
            self.state.touched[tool] = "raw" if is_raw else "cooked"
