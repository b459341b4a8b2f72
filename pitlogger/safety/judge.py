"""All verdicts of a record, as values and as the document of ``pitlogger safety``."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any

from pitlogger.clock import rfc3339
from pitlogger.model.cooks import BACK, BEFORE_FIRE, HOT_OFF_PIT, ON_PIT, Stage
from pitlogger.model.quantities import milli_c_from_fahrenheit, show_duration, show_temperature
from pitlogger.safety import shipped
from pitlogger.safety.cold import cold_hold
from pitlogger.safety.come_up import come_up
from pitlogger.safety.cooling import COOLING, Cooling, cooling, steps_named
from pitlogger.safety.growth import growth
from pitlogger.safety.history import PieceHistory, curve, doubted_words
from pitlogger.safety.holding import holding
from pitlogger.safety.humidity import EXEMPT_MG, GAP, is_exempt
from pitlogger.safety.lethality import Lethality, lethality, table_choice
from pitlogger.safety.phases import late_marks
from pitlogger.safety.policy import Policy
from pitlogger.safety.reheating import reheating
from pitlogger.safety.time_control import before_time_control, time_control
from pitlogger.safety.verdict import Verdict

NOTES = (
    "pitlogger is a record and a reminder, not an authority: limits differ by edition and place.",
    "The local code and the licensed or certified person decide.",
    "A calibrated probe in the coldest spot is the measure; a verdict is no better than its probe.",
    "Doubtful food is thrown away.",
)


@dataclass(frozen=True, slots=True)
class PieceVerdicts:
    """What a record shows about one piece."""

    piece: str
    holding: Verdict
    cooling: Cooling
    second_cooling: Cooling | None
    come_up: Verdict
    lethality: Lethality
    growth: Verdict
    cold_hold: Verdict
    reheating: Verdict
    time_control: Verdict
    notes: tuple[str, ...] = ()

    def document(self) -> dict[str, Any]:
        second = {} if self.second_cooling is None else self.second_cooling.document()
        return {
            "piece": self.piece,
            "holding": self.holding.document(),
            "cooling": self.cooling.document() | {"second": second or None},
            "come_up": self.come_up.document(),
            "lethality": self.lethality.document(),
            "growth": self.growth.document(),
            "cold_hold": self.cold_hold.document(),
            "reheating": self.reheating.document(),
            "time_control": self.time_control.document(),
        }


def judge(history: PieceHistory, policy: Policy) -> PieceVerdicts:
    """Judge one piece by its own record alone.

    What is in doubt gives no credit: the verdicts are those of what is believed. Nor does it
    take a breach away: where the doubted values would have made a limit not met, the limit is
    not shown.
    """
    before = before_time_control(history)
    found = _by_temperature(before, policy)
    if history.by_time is None:
        return found
    begun_ms = history.by_time.said.at_ms
    if any(span.stage in BACK and span.from_ms > begun_ms for span in history.spans):
        whole = _by_temperature(history, policy)  # what it was put to afterwards is judged too
        found = replace(
            found, cooling=whole.cooling, second_cooling=whole.second_cooling,
            cold_hold=whole.cold_hold, reheating=whole.reheating,
        )  # fmt: skip
    return replace(found, time_control=time_control(history, policy))


def _by_temperature(history: PieceHistory, policy: Policy) -> PieceVerdicts:
    found = _judged(history, policy)
    if history.has_doubts():
        everything = _judged(history.with_doubted(), policy, found.lethality)
        found = _without_credit(found, everything, history)
    return _naming_late(found, history) if history.late else found


def _judged(
    history: PieceHistory, policy: Policy, believed: Lethality | None = None
) -> PieceVerdicts:
    """Judge a history as it is; ``believed`` is what is believed of its cooking."""
    points = curve(history, policy.max_gap.ms, policy.settle.ms)
    cooked = lethality(history, points, policy)
    is_roast = table_choice(history, policy) is policy.cook_intact and not history.is_poultry
    second = policy.cooling_second.value
    shown = believed or cooked
    cooked_ms = shown.met_ms
    if cooked_ms is None and shown.verdict.met is None:
        cooked_ms = 0  # it is not known whether it was cooked: judged as if
    return PieceVerdicts(
        piece=history.piece,
        holding=holding(
            history, points, policy, is_roast and cooked.verdict.met is True, cooked_ms
        ),
        cooling=cooling(history, points, policy, cooked_ms=cooked_ms),
        second_cooling=(
            None
            if second == "none"
            else cooling(history, points, policy, steps_named(second), cooked_ms)
        ),
        come_up=come_up(history, points, policy, cooked.met_ms),
        lethality=cooked,
        growth=growth(history, points, policy, cooked_ms),
        cold_hold=cold_hold(history, points, policy),
        reheating=reheating(history, points, policy),
        time_control=time_control(history, policy),
        notes=(
            *(_oven_advice(history, policy) if is_roast else ()),
            *_humidity_advice(history, policy, cooked),
            *(f"{history.piece}: {told}" for told in late_marks(history)),
            *(f"{history.piece}: {told}" for told in _late_readings(history)),
        ),
    )


def _late_readings(history: PieceHistory) -> Iterator[str]:
    for at_ms, entered_ms in history.late:
        late = show_duration(entered_ms - at_ms)
        yield f"the hand reading of {rfc3339(at_ms)} was typed {late} later"


_RESTS_ON: dict[str, frozenset[Stage]] = {
    "lethality": ON_PIT | HOT_OFF_PIT,
    "holding": HOT_OFF_PIT,
    "cooling": HOT_OFF_PIT.union(COOLING),
    "cold_hold": BEFORE_FIRE.union(COOLING),
    "reheating": frozenset({Stage.REHEATING}),
}


def _naming_late(found: PieceVerdicts, history: PieceHistory) -> PieceVerdicts:
    """Return verdicts that name the hand readings among theirs that were typed late."""

    def named(verdict: Verdict, stages: frozenset[Stage]) -> Verdict:
        told = [
            words
            for (at_ms, _), words in zip(history.late, _late_readings(history), strict=True)
            if history.stage_at(at_ms) in stages
        ]
        if not verdict.applies or not told:
            return verdict
        return replace(verdict, reason="; ".join([verdict.reason, *told]))

    changed: dict[str, Any] = {}
    for name, stages in _RESTS_ON.items():
        judged = getattr(found, name)
        if isinstance(judged, Verdict):
            changed[name] = named(judged, stages)
        else:
            changed[name] = replace(judged, verdict=named(judged.verdict, stages))
    return replace(found, **changed)


def _without_credit(
    believed: PieceVerdicts, everything: PieceVerdicts, history: PieceHistory
) -> PieceVerdicts:
    """Return verdicts in which nothing is met that doubted values speak against."""
    words = doubted_words(history)

    def weighed(found: Verdict, full: Verdict) -> Verdict:
        if found.met is True and full.met is not True:
            reason = f"not shown: in doubt is {words}; a hand reading shows it"
            return Verdict(True, None, found.source, reason)
        is_open = found.applies and found.met is None and full.met is not None
        if is_open and not _names_a_probe(found, history):
            reason = f"{found.reason}; in doubt is {words}; a hand reading shows it"
            return replace(found, reason=reason)
        if found.applies or not full.applies:
            return found
        met = None if full.met is False or full.met is None else full.met
        return Verdict(True, met, full.source, f"{full.reason}; in doubt is {words}: not shown")

    return replace(
        believed,
        holding=weighed(believed.holding, everything.holding),
        cooling=_cooling_weighed(believed.cooling, everything.cooling, weighed),
        come_up=weighed(believed.come_up, everything.come_up),
        lethality=replace(
            believed.lethality,
            verdict=weighed(believed.lethality.verdict, everything.lethality.verdict),
        ),
        cold_hold=weighed(believed.cold_hold, everything.cold_hold),
        reheating=weighed(believed.reheating, everything.reheating),
    )


def _names_a_probe(found: Verdict, history: PieceHistory) -> bool:
    return any(core.channel in found.reason for core in history.cores)


def _cooling_weighed(
    found: Cooling, full: Cooling, weighed: Callable[[Verdict, Verdict], Verdict]
) -> Cooling:
    verdict = weighed(found.verdict, full.verdict)
    if verdict is found.verdict:
        return found
    stages = tuple(
        replace(stage, met=None if stage.met and not other.met else stage.met)
        for stage, other in zip(found.stages, full.stages, strict=True)
    )
    return Cooling(verdict, stages)


def document(histories: list[PieceHistory], policy: Policy) -> dict[str, Any]:
    """Return the document of ``pitlogger safety``: policy, pieces, notes."""
    judged = [judge(history, policy) for history in histories]
    advice = [note for verdicts in judged for note in verdicts.notes]
    return {
        "policy": policy.name,
        "policy_version": policy.version,
        "max_gap_s": policy.max_gap.s,
        "pieces": [verdicts.document() for verdicts in judged],
        "notes": [*NOTES, *advice],
    }


def _humidity_advice(history: PieceHistory, policy: Policy, cooked: Lethality) -> tuple[str, ...]:
    """Return the caution about humidity where a federal table was used without it."""
    wanted = policy.humidity_advice.value == "advise" and cooked.table.startswith("fsis-")
    if not wanted or not cooked.verdict.applies:
        return ()
    coolest = min((value for series in history.pit for _, value in series.points), default=0)
    return () if is_exempt(history.mass_mg, coolest) else (f"{history.piece}: {GAP}",)


def _oven_advice(history: PieceHistory, policy: Policy) -> tuple[str, ...]:
    """Return how the pit compares with the roast oven chart, where the policy wants it said."""
    spans = history.during(ON_PIT)
    values = sorted(
        value_mc
        for series in history.pit
        for t_ms, value_mc in series.points
        if any(from_ms <= t_ms <= to_ms for from_ms, to_ms in spans)
    )
    if policy.oven_advice.value == "silent" or not values:
        return ()
    is_heavy = history.mass_mg is not None and history.mass_mg >= EXEMPT_MG
    row = next(
        row
        for row in shipped.rows("roast_oven.csv")
        if row["oven_type"] == "still_dry" and (row["heavy"] == "yes") == is_heavy
    )
    median = values[len(values) // 2]
    if median >= milli_c_from_fahrenheit(float(row["temp_f"])):
        return ()
    size = "10 lb or more" if is_heavy else "under 10 lb, or of unknown mass"
    advice = (
        f"{history.piece}: the pit ran at {show_temperature(median)}; the oven chart of "
        f"{row['source']} asks a dry oven for {row['temp_f']} F for a roast of {size}. The chart "
        "binds roasts cooked in an oven (2017 on); the local code decides."
    )
    return (advice,)
