"""Weights that nobody named: what comes to rest on a scale, given its piece and checkpoint.

Loads that wait are matched together (``yields/weighing/matching.py``), anew whenever one comes
or a weighing is entered. Where the person chose so (``RulePolicy.stage_from``) and it is surer than
``stage_chance``, a load is kept by itself; for ten seconds a prompt says so and takes an undo.
Else it is asked about, with the two likeliest, once nothing more was put on for a while.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from pitlogger.engine.annunciator import Annunciator
from pitlogger.engine.compiled_channel import Lane
from pitlogger.engine.state import EngineState, Load
from pitlogger.engine.watch.recognition import inferred
from pitlogger.errors import UsageError, unknown
from pitlogger.inference.recogniser import StageProposal
from pitlogger.model.book import Book, PieceBook
from pitlogger.model.journal import AlertActed, Corrected, Entry, Tared, Undone, Weighed
from pitlogger.model.quantities import show_chance, show_mass
from pitlogger.model.readings import Site
from pitlogger.pipeline.grate import Grate
from pitlogger.pipeline.steady import Steadiness
from pitlogger.rules.policies import RulePolicy
from pitlogger.yields.causes import PLACE
from pitlogger.yields.weighing.expected import Expected, expected_as, expected_at, habits
from pitlogger.yields.weighing.pile import Pile

if TYPE_CHECKING:
    from pitlogger.yields.weighing.matching import Guess

LIKELY, KEPT = "weight-likely", "weight-kept"
ALL, FIRST, SECOND, NEITHER, UNDO = "all", "first", "second", "neither", "undo"
ANSWERS = (FIRST, SECOND, NEITHER)  # of one load; else all at once, or the name of each
ASK_AFTER_MS = 240_000
UNDO_MS = 10_000
_WAITS_MS = 60 * 60_000
_MOST = 12
_LEAST_MG = 50_000
# A false entry is worse than none, whatever chance is enough for a stage: while more may be put
# on, and when nothing more was.
_SURE, _SURE_OF_MANY, _SURE_AT_END = 0.998, 0.9995, 0.996
_FEW = 2  # pieces
_ASKED = 0.5  # how likely a load has to be any piece at all to be asked about
_SAME_MG = 15_000
_CELL_MG = 20_000  # what a load cell in a hot pit is good for (ours)
_AGAIN_MS, _AGAIN_MG, _AGAIN = 60_000, 5_000, 0.0005

Timer = Callable[[int, str, str], None]


class WeightRecognition:
    """``guesses`` is what each waiting load may be, the likeliest first, by its time.

    Attributes:
        is_on: Whether loads are matched at all: not where a record is replayed.
    """

    def __init__(
        self, state: EngineState, policy: RulePolicy, alerts: Annunciator, timer: Timer,
        proposals: Mapping[str, list[StageProposal]],
    ) -> None:  # fmt: skip
        self.state = state
        self.policy = policy
        self.alerts = alerts
        self._proposals = proposals
        self.is_on = True
        self.is_catching_up = False
        self.guesses: dict[int, list[Guess]] = {}
        self._timer = timer
        self._ready: list[Weighed] = []
        self._judged_ms = -1
        self._asked: dict[str, int] = {}  # the load asked about last, by scale

    def settled(self, channel: str, steadiness: Steadiness, book: Book, t_ms: int) -> None:
        """Take the level at which a scale came to rest."""
        if steadiness.steady_mg is None:
            return
        pile = self.state.piles.setdefault(channel, Pile())
        first = not pile.items
        under = pile.items[-1] if pile.items else None
        item = pile.settle(steadiness.steady_mg, steadiness.interval_mg, t_ms)
        if item is not None and under is not None and pile.carries(under, item):
            self.state.loads[:] = [one for one in self.state.loads if one.at_ms != under.at_ms]
        if item is None or not self._follows(book) or item.mass_mg < _LEAST_MG:
            return
        tared = book.tares.get(channel)
        tare_mg = tared.tare_mg if tared else 0
        near_mg = 3 * steadiness.interval_mg
        if any(abs(item.mass_mg - known) <= near_mg for known in _tares_mg(self.state)):
            return  # a container put down
        net_mg = item.mass_mg - (tare_mg if first else 0)
        if net_mg >= _LEAST_MG and not self._again(channel, net_mg, book, t_ms):
            load = Load(channel, item.level_mg, net_mg, t_ms, steadiness.interval_mg)
            self.state.loads[:] = [*self.state.loads, load][-_MOST:]
            self._timer(t_ms + 1000, "weights", "")

    def cell(self, lane: Lane, value: int, lanes: dict[str, Lane], book: Book, t_ms: int) -> None:
        """Take what a load cell under a grate or a pan reads."""

        def pit_mc() -> int | None:
            pits = [one.state for one in lanes.values() if one.site is Site.PIT]
            return pits[0].pit.level_mc if len(pits) == 1 else None

        channel = lane.state.id
        moved = self.state.grates.setdefault(channel, Grate()).update(t_ms, value, pit_mc)
        if moved is not None and self._follows(book):
            self.state.piles.setdefault(channel, Pile())
            mass_mg = moved.mass_mg
            load = Load(channel, mass_mg, mass_mg, moved.at_ms, _CELL_MG, moved.checkpoint)
            self.state.loads[:] = [*self.state.loads, load][-_MOST:]
            self._timer(t_ms + 1000, "weights", "")

    def judge(self, book: Book, t_ms: int) -> None:
        """Match the loads that wait, keep what is sure, ask about what has waited."""
        if self._judged_ms == t_ms or self._ready:  # what is kept has to be entered first
            return
        self._judged_ms = t_ms
        self.state.loads[:] = [one for one in self.state.loads if t_ms - one.at_ms <= _WAITS_MS]
        loads = self.state.loads
        self.guesses = {}
        if loads and self._follows(book):
            pieces = [self._as_it_looks(held) for held in book.pieces.values()]
            from pitlogger.yields.weighing.matching import match  # loads numpy: not at the start

            for of in {(one.of, one.channel if one.of else "") for one in loads}:
                alike = [one for one in loads if (one.of, one.channel if one.of else "") == of]
                waiting, chances = self._waiting(pieces, alike, book)
                found = match(
                    [one.net_mg / 1000 for one in alike],
                    waiting,
                    habits(pieces, alike[0].at_ms),
                    [] if of[0] else [known / 1000 for known in _tares_mg(self.state)],
                    chances,
                )
                self.guesses |= {
                    one.at_ms: few for one, few in zip(alike, found, strict=True) if few
                }
        if self.policy.stage_from == "taken" and not self.is_catching_up:
            self._keep(t_ms, sum(held.is_open for held in book.pieces.values()))
        self._ask(t_ms)

    def _as_it_looks(self, held: PieceBook) -> PieceBook:
        """Return a piece with the stages that it looks to be in, though nobody agreed yet."""
        name = held.piece.id
        marks = [inferred(name, one) for one in self._proposals.get(name, ())]
        return replace(held, marks=[*held.marks, *marks]) if marks else held

    def _waiting(
        self, pieces: list[PieceBook], loads: list[Load], book: Book
    ) -> tuple[list[Expected], list[list[float]] | None]:
        """Return what may lie there: at its known checkpoint, or at any that is waited for."""
        if not loads[0].of:
            return expected_at(pieces, [one.at_ms for one in loads])
        placed = book.assignment(loads[0].channel)
        return expected_as(pieces, loads[0].of, placed.channel.piece if placed else None), None

    def told(self, entry: Entry, book: Book, t_ms: int) -> None:
        """Let a weighing that was entered settle the load that it is of."""
        body = entry.body.body if isinstance(entry.body, Corrected) else entry.body
        if isinstance(body, Undone):
            self.alerts.tell(KEPT, _of_undone(body, self.state), t_ms, False)
        if not isinstance(body, Weighed):
            return
        channels = [body.channel] if body.channel else [one.channel for one in self.state.loads]
        same = [
            one
            for one in self.state.loads
            if one.channel in channels
            and min(abs(one.net_mg - body.net_mg), abs(one.level_mg - body.gross_mg)) <= _SAME_MG
        ]
        same.sort(key=lambda one: (one.at_ms != body.at_ms, abs(one.net_mg - body.net_mg)))
        for channel in channels:
            for item in self.state.piles.get(channel, Pile()).items:
                levels = (item.level_mg - body.gross_mg, item.mass_mg - body.net_mg)
                item.is_named |= min(map(abs, levels)) <= _SAME_MG
        if same:
            self.state.loads.remove(same[0])
            self.alerts.tell(LIKELY, same[0].channel, t_ms, False)
        if body.is_unconfirmed and body.channel:
            said = f"{body.piece}, {body.checkpoint}: {self._mass(body.net_mg)} kept by its mass"
            self.alerts.tell(KEPT, body.channel, t_ms, True, said, channel=body.channel)
            self._timer(t_ms + UNDO_MS, "weights", "")
        if self.state.loads or same:
            self._timer(t_ms + 1000, "weights", "")

    def take(self) -> list[Weighed]:
        """Return what is kept without asking, once each."""
        ready, self._ready = self._ready, []
        return ready

    def asked(self, channel: str) -> tuple[Load, list[Guess]] | None:
        """Return the load of a scale that is asked about, with the two likeliest."""
        known = [
            one for one in self.state.loads
            if one.channel == channel and one.at_ms in self.guesses and self._is_meat(one)
        ]  # fmt: skip
        if not known:
            return None
        least = min(known, key=lambda one: self.guesses[one.at_ms][0].chance)  # it settles most
        return least, self.guesses[least.at_ms][:2]

    def together(self, channel: str) -> list[tuple[Load, Guess]]:
        """Return the loads of a scale that wait, each with what they likeliest are together."""
        loads = [
            one
            for one in self.state.loads
            if one.channel == channel and one.at_ms in self.guesses and self._is_meat(one)
        ]
        found: dict[int, Guess] = {}
        taken: set[tuple[str, str]] = set()
        options = [(guess, one.at_ms) for one in loads for guess in self.guesses[one.at_ms]]
        for guess, at_ms in sorted(options, key=lambda option: -option[0].chance):
            if at_ms not in found and (guess.piece, guess.checkpoint) not in taken:
                found[at_ms] = guess
                taken.add((guess.piece, guess.checkpoint))
        return [(one, found[one.at_ms]) for one in loads if one.at_ms in found]

    def answered(self, alert: str, answer: str, t_ms: int) -> None:
        """Take an answer that is no single weighing: all loads as they were said, or not one."""
        kind, _, channel = alert.partition("/")
        found = self.asked(channel)
        if kind != LIKELY or found is None:
            return
        settled = [found[0]] if answer == NEITHER else []
        if answer not in ANSWERS and not self.is_catching_up:  # else the journal has what followed
            known = self.named(channel, answer)
            self._ready += [
                replace(weighing(load, guess), confirmed=True) for load, guess in known if guess
            ]
            settled = [load for load, _ in known]
        self.state.loads[:] = [one for one in self.state.loads if one not in settled]
        if settled:
            self.alerts.tell(LIKELY, channel, t_ms, False)
            self._timer(t_ms + 1000, "weights", "")

    def named(self, channel: str, answer: str) -> list[tuple[Load, Guess | None]]:
        """Return the loads of a question as an answer names them: all so, or each load's piece.

        Raises:
            UsageError: Not a name for each load, or one that no load can be.
        """
        loads = self.together(channel)
        if answer == ALL:
            return list(loads)
        names = [name.strip() for name in answer.split(",")]
        if len(names) != len(loads):
            raise UsageError(
                f"{channel}: {len(loads)} loads wait: name their pieces in the order in which they "
                f"were put on, with '-' for what is none ({', '.join(g.piece for _, g in loads)}?)"
            )
        found: list[tuple[Load, Guess | None]] = []
        used: set[tuple[str, str]] = set()
        for (load, _), name in zip(loads, names, strict=True):
            mine = [guess for guess in self.guesses[load.at_ms] if guess.piece == name]
            best = next((g for g in mine if (g.piece, g.checkpoint) not in used), None)
            if best is None and name != "-":
                known = dict.fromkeys(guess.piece for guess in self.guesses[load.at_ms])
                words = f"{self._mass(load.net_mg)}: {unknown('piece', name, known)}"
                raise UsageError(f"{words}; or answer {ALL}, {', '.join(ANSWERS)}")
            if best is not None:
                used.add((best.piece, best.checkpoint))
            found.append((load, best))
        return found

    def check(self, body: AlertActed) -> None:
        """Refuse an answer that names pieces which the loads cannot be."""
        kind, _, channel = body.alert.partition("/")
        waits = body.action == "answer" and kind == LIKELY and self.asked(channel) is not None
        if waits and body.reason not in ANSWERS:
            self.named(channel, body.reason)

    def _again(self, channel: str, net_mg: int, book: Book, t_ms: int) -> bool:
        """Return whether this is what lay there a moment ago, lifted and put back."""
        before = [(one.at_ms, one.net_mg) for one in self.state.loads if one.channel == channel]
        before += [
            (one.weighed.at_ms, one.weighed.net_mg)
            for held in book.pieces.values()
            for one in held.weighings
            if one.weighed.channel == channel
        ]
        near_mg = _AGAIN_MG + round(_AGAIN * net_mg)
        return any(
            t_ms - at_ms <= _AGAIN_MS and abs(net_mg - known) <= near_mg for at_ms, known in before
        )

    def _follows(self, book: Book) -> bool:
        return self.is_on and self.policy.stage_from != "person" and bool(book.open_cooks())

    def _keep(self, t_ms: int, count: int) -> None:
        last_ms = max((one.at_ms for one in self.state.loads), default=0)
        sure = _SURE_AT_END
        if t_ms - last_ms < ASK_AFTER_MS:  # of many pieces the next loads may tell another story
            sure = _SURE if count <= _FEW else _SURE_OF_MANY
        for one in list(self.state.loads):
            best = next(iter(self.guesses.get(one.at_ms, [])), None)
            if best is None or best.chance < max(self.policy.stage_chance, sure):
                continue
            if best.checkpoint in PLACE and best.net_g * 1000 > one.net_mg - 1:
                self._ready.append(weighing(one, best))
                self.state.loads.remove(one)
                del self.guesses[one.at_ms]
                self._timer(t_ms + 1000, "weights", "")

    def _ask(self, t_ms: int) -> None:
        last_ms = max((one.at_ms for one in self.state.loads), default=0)
        if self.state.loads and t_ms - last_ms < ASK_AFTER_MS:
            self._timer(last_ms + ASK_AFTER_MS, "weights", "")
        for channel in self.state.piles:
            found = self.asked(channel) if t_ms - last_ms >= ASK_AFTER_MS else None
            words = ""
            if found is not None:
                load, guesses = found
                words = self._words(load, guesses, self.together(channel))
                if self._asked.get(channel) != load.at_ms:
                    self._asked[channel] = load.at_ms
                    self.alerts.tell(LIKELY, channel, t_ms, False)
                    self.alerts.ask_anew(f"{LIKELY}/{channel}")
            self.alerts.tell(LIKELY, channel, t_ms, bool(words), words, channel=channel)
            watch = self.alerts.watches.get(f"{KEPT}/{channel}")
            if watch is not None and watch.holds and t_ms - watch.raised_ms >= UNDO_MS:
                self.alerts.tell(KEPT, channel, t_ms, False)

    def _words(
        self, load: Load, guesses: list[Guess], together: list[tuple[Load, Guess]]
    ) -> str:  # fmt: skip
        options = " or ".join(
            f"{one.piece} {one.checkpoint} ({show_chance(one.chance)})" for one in guesses
        )
        words = f"{self._mass(load.net_mg)} is {options}?"
        if len(together) < 2:
            return words
        every = ", ".join(
            f"{self._mass(one.net_mg)} {guess.piece} {guess.checkpoint}" for one, guess in together
        )
        return f"{every}: all so? If not: {words}"

    def _is_meat(self, load: Load) -> bool:
        """Return whether a load is some piece, whichever, rather than something else."""
        return sum(guess.chance for guess in self.guesses[load.at_ms]) >= _ASKED

    def _mass(self, mass_mg: int) -> str:
        return show_mass(mass_mg, self.alerts.units.mass)


def weighing(load: Load, guess: Guess) -> Weighed:
    """Return a load as the weighing it is taken for."""
    net_mg = min(load.net_mg, round(guess.net_g * 1000))
    return Weighed(
        guess.piece, guess.checkpoint, load.level_mg, load.level_mg - net_mg, load.at_ms,
        source="scale", channel=load.channel, interval_mg=load.interval_mg,
        p=round(guess.chance, 3),
    )  # fmt: skip


def _tares_mg(state: EngineState) -> list[int]:
    """Return the masses of containers that this cook has used, or that were filled here."""
    bodies = [entry.body for entry in state.entries]
    used = {one.tare_mg for one in bodies if isinstance(one, Tared)}
    used |= {one.tare_mg for one in bodies if isinstance(one, Weighed) and one.container}
    used.update(*(pile.trays_mg for pile in state.piles.values()))
    return sorted(known for known in used if known > 0)


def _of_undone(body: Undone, state: EngineState) -> str:
    """Return the scale of a weighing that was taken back, empty for anything else."""
    for entry in state.entries:
        if (entry.run, entry.seq) == (body.of_run, body.of_seq):
            return getattr(entry.body, "channel", None) or ""
    return ""
