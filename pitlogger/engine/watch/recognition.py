"""Stages that nobody marked, recognised each minute from what the channels of a piece say.

Nothing here sets a stage: what is found becomes a command like a person's, and only where the
person chose so (``Policy.stage_from``).
"""

from __future__ import annotations

from itertools import takewhile

from pitlogger.engine.annunciator import Annunciator
from pitlogger.engine.compiled_channel import Lane
from pitlogger.engine.state import ChannelState, EngineState
from pitlogger.inference.changes import Aims, due
from pitlogger.inference.recogniser import Sight, StageProposal
from pitlogger.model.alerts import ACTIVE, ALARMS
from pitlogger.model.book import Book, PieceBook
from pitlogger.model.cooks import HOT_OFF_PIT, ON_PIT, Stage
from pitlogger.model.journal import StageSet
from pitlogger.model.quantities import show_chance
from pitlogger.model.readings import Site
from pitlogger.pipeline.trend import BIN_MS
from pitlogger.rules.policies import RulePolicy

MINUTE_MS = 60_000
FRESH_MS = 3 * MINUTE_MS
BEFORE_MS = 30 * MINUTE_MS  # a piece is entered so long after it was put on, mostly
TAKEN = frozenset({Stage.SMOKING, Stage.WRAPPED, Stage.RESTING})
_SIGNS = frozenset({"at-wrap", "off-pit", "rested", "out-of-hold", "carved", "sauced", "served"})


class Recognition:
    """Follows the open pieces; ``proposals`` is what they look to be in now, by piece.

    What is not taken is asked about by a prompt, ``stage-likely``.
    """

    def __init__(self, state: EngineState, policy: RulePolicy, alerts: Annunciator) -> None:
        self.state = state
        self.policy = policy
        self.alerts = alerts
        self.proposals: dict[str, list[StageProposal]] = {}
        self.is_catching_up = False

    def minute(self, book: Book, lanes: dict[str, Lane], t_ms: int) -> None:
        """Take a minute of every open piece."""
        if self.policy.stage_from == "person":
            return
        pits = [lane.state for lane in lanes.values() if lane.site is Site.PIT]
        for piece, held in book.pieces.items():
            if not held.is_open:
                continue
            sight = self.state.sights.get(piece)
            if sight is None:
                sight = self.state.sights[piece] = Sight()
            self._follow(sight, held, t_ms)
            pit = _pit_of(held, pits)
            if pit is not None:
                self._lids(sight, pit, held, book)
            pit_mc = None if pit is None or not pit.heard_well() else pit.pit.level_mc
            core_c = self._core_c(book, piece, t_ms)
            sight.minute(t_ms, core_c, None if pit_mc is None else pit_mc / 1000, self._aims(held))
            if sight.looked_ms != t_ms:
                continue  # between two looks nothing has changed
            self.proposals.pop(piece, None)
            found = sight.proposals(t_ms, self.policy.stage_chance)
            if found:
                self.proposals[piece] = found
            self._ask(piece, None if self._taken(piece, found, book) else found, t_ms)

    def told(self, book: Book, t_ms: int) -> None:
        """Stop asking about a piece whose stages somebody has set meanwhile."""
        for piece in list(self.proposals):
            held, sight = book.pieces.get(piece), self.state.sights.get(piece)
            if held is None or sight is None or marks_of(held) != sight.known:
                del self.proposals[piece]
                self._ask(piece, None, t_ms)

    def denied(self, alert: str, t_ms: int) -> None:
        """Take a no to what a piece looked to be in."""
        piece = alert.partition("/")[2]
        sight = self.state.sights.get(piece)
        if not alert.startswith("stage-likely/") or sight is None:
            return
        for one in self.proposals.pop(piece, []):
            sight.deny(one.stage, one.at_ms)
        self._ask(piece, None, t_ms)

    def take(self, book: Book) -> list[StageSet]:
        """Return what is set without asking, each with its chance."""
        if self.is_catching_up:
            return []
        taken = []
        for piece, found in list(self.proposals.items()):
            if known := self._taken(piece, found, book):
                taken += [inferred(piece, one) for one in known]
                del self.proposals[piece]
        return taken

    def _ask(self, piece: str, found: list[StageProposal] | None, t_ms: int) -> None:
        words = ""
        if not found:
            self.alerts.ask_anew(f"stage-likely/{piece}")
        else:
            last = found[-1]
            words = f"{piece}: looks {last.stage}, {show_chance(last.p)} likely"
        self.alerts.tell("stage-likely", piece, t_ms, bool(found), words, piece=piece)

    def _taken(self, piece: str, found: list[StageProposal], book: Book) -> list[StageProposal]:
        """Return what is set without asking: all up to the first that has to be asked about.

        What began nobody knows when is left to a person too; what came after it is set.
        """
        if self.policy.stage_from != "taken":
            return []
        held = book.pieces[piece]
        told = [one.weighed for one in held.weighings if not one.weighed.is_unconfirmed]
        carved = [one.at_ms for one in told if one.checkpoint == "carved"]  # a person's own word

        def is_asked(one: StageProposal) -> bool:
            is_told = one.stage is Stage.CARVED and one.at_ms in carved
            return (
                not (one.stage in TAKEN or is_told)
                or is_return(held, one.stage)
                or self._is_held_back(piece, one.stage, book)
            )

        return [
            one for one in takewhile(lambda one: not is_asked(one), found) if one.between_ms is None
        ]

    def _is_held_back(self, piece: str, stage: Stage, book: Book) -> bool:
        """Return whether setting a stage could end an alarm, or a clock that leads to one."""
        clocks = self.state.clocks.get(piece)
        if clocks is not None:
            comes_up = stage not in ON_PIT and not clocks.come_up.is_through
            if comes_up or clocks.hold.since_ms is not None:
                return True
        channels = book.channels_of(piece)
        return any(
            watch.pending_ms is not None or watch.holds or watch.state in ACTIVE
            for watch in self.state.watches.values()
            if watch.kind in ALARMS and (watch.piece == piece or watch.channel in channels)
        )

    def _follow(self, sight: Sight, held: PieceBook, t_ms: int) -> None:
        """Take the marks and weighings that are new, also those entered late."""
        marks = marks_of(held)
        if marks[: len(sight.known)] != sight.known:
            stages = {stage for stage, _ in marks}
            sight.denied += [one for one in sight.known if one[0] not in stages]
            sight.known.clear()
            sight.settle(Stage.RAW, held.added_ms)
            sight.known.clear()
        for stage, at_ms in marks[len(sight.known) :]:
            sight.settle(stage, at_ms)
        for weighing in held.weighings:
            weighed = weighing.weighed
            known = (weighed.checkpoint, weighed.at_ms)
            if weighed.checkpoint in _SIGNS and weighed.at_ms < t_ms and known not in sight.weighed:
                sight.weighed.append(known)
                sight.sign(*known)

    def _other(self, held: PieceBook, book: Book) -> float:
        """Return how likely one of the other pieces of a pit was due when its lid was opened."""
        others = [
            one for piece, one in book.pieces.items()
            if one is not held and one.is_open and piece in self.state.sights
            and one.piece.pit == held.piece.pit
        ]  # fmt: skip
        return max(
            (due(self.state.sights[one.piece.id].last_c, self._aims(one)) for one in others),
            default=0.0,
        )

    def _lids(self, sight: Sight, pit: ChannelState, held: PieceBook, book: Book) -> None:
        """Take lids that were opened and are shut again."""
        known_ms = max(sight.lid_ms, held.added_ms - BEFORE_MS)
        for at_ms, open_ms, every_ms in pit.pit.dips.found:
            if at_ms > known_ms:
                sight.lid_ms = at_ms
                blur_s = max(0, every_ms - BIN_MS) / 1000
                sight.sign("lid", at_ms, open_ms / 1000, self._other(held, book), blur_s)

    def _core_c(self, book: Book, piece: str, t_ms: int) -> float | None:
        """Return the level of the first core that is heard."""
        for channel in book.cores(piece):
            known = self.state.channels.get(channel)
            if known is None or not known.heard_well() or known.doubt == "stuck":
                continue
            if known.trend.level_mc is not None and t_ms - known.heard_ms < FRESH_MS:
                return known.trend.level_mc / 1000
        return None

    def _aims(self, held: PieceBook) -> Aims:
        wrap_mc = self.policy.wrap_at_mc(held.piece)
        pull_mc = self.policy.pull_at_mc(held.piece)
        return Aims(
            None if wrap_mc is None else wrap_mc / 1000, 93.0 if pull_mc is None else pull_mc / 1000
        )


def marks_of(held: PieceBook) -> list[tuple[Stage, int]]:
    """Return the stages of a piece as they are set."""
    return [(mark.stage, mark.at_ms) for mark in held.marks]


def is_return(held: PieceBook, stage: Stage) -> bool:
    """Return whether a stage puts a piece back on the pit, where no limit of holding is watched."""
    return stage in ON_PIT and held.stage in HOT_OFF_PIT


def inferred(piece: str, found: StageProposal) -> StageSet:
    """Return a proposal as the stage it is."""
    return StageSet(
        piece, found.stage, found.at_ms, timed="stated", source="inferred", p=round(found.p, 3)
    )


def _pit_of(held: PieceBook, pits: list[ChannelState]) -> ChannelState | None:
    """Return the pit of a piece: the one it names, else the only one there is."""
    for pit in pits:
        if pit.id == held.piece.pit:
            return pit
    return pits[0] if len(pits) == 1 else None
