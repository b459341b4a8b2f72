"""When is it done: request in, answer out."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import exp, hypot, log

from pitlogger.forecast import blend, reduced
from pitlogger.forecast.change import settled
from pitlogger.forecast.doubts import PREFIX, below_target, cannot_say
from pitlogger.forecast.features import features
from pitlogger.forecast.history import History, history
from pitlogger.forecast.library import Library, library
from pitlogger.forecast.phase import phase_of
from pitlogger.forecast.request import Answer, Basis, Ensemble, Request
from pitlogger.forecast.rest import rest_after
from pitlogger.forecast.shape import shape, wrap_ahead
from pitlogger.model.quantities import show_duration, show_temperature

LEVELS = (0.1, 0.5, 0.9)
LEAST_REACH = 0.1  # below, a time would be a lie
DOUBTFUL_REACH = 0.7  # below, it is said what would change it
HOTTER_C = 10.0
LEAST_SHIFT_S = 300.0
LONGEST_S = 24 * 3600
BY_HAND_H = 0.3  # a hand reading half an hour old and a degree off is worth as much (fitted)
UNKNOWN_SHARE = 0.9  # of members that arrive, before the physical model was ever run
ASK = {
    "wrap plan": "say whether and when it will be wrapped: worth half an hour and more",
    "thickness": "measure the thickness at the thickest part",
    "pit": "put a probe at the grate beside the piece, or say what the pit is set to",
}


def forecast(request: Request, *, widen: bool = True, held: Library | None = None) -> Answer:
    """Return when the target is reached, with an 80 % interval and the chance of it at all.

    Args:
        request: The question.
        widen: Widen the interval until five own cooks are stored; off only to score.
        held: Another library than the one shipped, for building and scoring.
    """
    past = history(request)
    answer = Answer(request.piece, request.target, round(request.now_s), ask=asked(request))
    if request.target == "rest" and request.pulled_s is not None:
        return rest_after(request, answer)
    if request.target == "rest" and request.rest_s is None:
        return replace(answer, reason=f"{PREFIX}the piece is still on the pit")
    if reason := cannot_say(request, past):
        return replace(answer, reason=reason)
    assert past is not None
    if past.level_c >= request.target_c and request.target != "rest":
        reached = Basis(request.now_s, request.now_s, request.target_c, None, 0.0, request.wrap)
        return replace(answer, p10_s=0, p50_s=0, p90_s=0, p_reach=1.0, basis=reached)
    if reason := below_target(request, past):
        lost = replace(
            answer,
            reason=f"may not reach the target: {reason}",
            basis=_basis(request, past, None),
        )
        return settled(request, lost)
    return _timed(request, past, answer, widen, held or library())


def asked(request: Request) -> tuple[str, ...]:
    """Return what would sharpen the forecast if a person said it, most useful first."""
    missing = []
    if request.target != "wrap" and request.wrap in (None, "none") and request.wrap_plan is None:
        missing.append(ASK["wrap plan"])
    if len(request.pit.t_s) == 0 and request.set_point_c is None:
        missing.append(ASK["pit"])
    if request.thickness_mm is None:
        missing.append(ASK["thickness"])
    return tuple(missing)


@dataclass(frozen=True, slots=True)
class Estimate:
    """Centre and spread before calibration, and the phase that calibrates them.

    ``p_reach`` is the chance of arrival, ``carry`` what a cheap update goes on with.
    """

    centre: blend.Centre
    p_reach: float
    carry: Ensemble | None
    phase: int


def estimate(request: Request, past: History, held: Library) -> Estimate:
    """Return what both ways to the finish say together, before calibration.

    What a changed pit would do the library never saw: the physical model predicts it, and its
    answer moves the one for the pit as it is.
    """
    if request.pit_change_c:
        return _with_changed_pit(request, past, held)
    carry = ensemble(request, past, held) if request.full else request.carried
    model = blend.carried(carry, request.now_s)
    seen = features(request, past)
    by_library = held.predict(seen)
    share = UNKNOWN_SHARE if model is None else model.p_reach
    reach = held.reach(share, seen, by_library[0])
    middle = blend.blended(by_library, model, held.constants)
    if request.by_hand:
        middle = replace(middle, sd=hypot(middle.sd, BY_HAND_H / exp(middle.log_h)))
    return Estimate(middle, reach, carry, phase_of(seen, middle.log_h))


def _with_changed_pit(request: Request, past: History, held: Library) -> Estimate:
    still = estimate(replace(request, pit_change_c=0.0, full=True), past, held)
    changed = ensemble(request, past, held)
    if still.carry is None or still.carry.log_h is None or changed.log_h is None:
        log_h = still.centre.log_h
    else:
        log_h = still.centre.log_h + changed.log_h - still.carry.log_h
    seen = features(request, past)
    reach = held.reach(changed.p_reach, seen, log_h)
    return Estimate(blend.Centre(log_h, still.centre.sd), reach, changed, phase_of(seen, log_h))


def ensemble(request: Request, past: History, held: Library) -> Ensemble:
    """Return what the physical model says."""
    return reduced.summarise(arrivals(request, past, held), request.now_s)


def arrivals(request: Request, past: History, held: Library) -> reduced.Array:
    """Return the hours until each member of the physical model arrives."""
    plan, at = wrap_ahead(request)
    size = shape(request)
    about = reduced.covariates(size.half_mm, plan, size.compact)
    posterior = reduced.fit(request, past, held.prior, about)
    later = None
    if at is not None and request.wrap_at_s is not None:
        later, at = max(request.wrap_at_s - request.now_s, 0.0) / 3600.0, None
    return reduced.arrive(
        posterior,
        request.target_c,
        pit_change_c=request.pit_change_c,
        wrap_at_c=at,
        wrap_in_h=later,
    )


def _timed(request: Request, past: History, answer: Answer, widen: bool, held: Library) -> Answer:
    made = estimate(request, past, held)
    middle, reach = made.centre, made.p_reach
    widened = widen and blend.own_cooks(request.local) < blend.LOCAL_COOKS_WANTED
    said = replace(
        answer, p_reach=round(reach, 3), widened=widened, carried=made.carry,
        log_h=middle.log_h, sd=middle.sd,
    )  # fmt: skip
    if reach < LEAST_REACH:
        reason = _stays_below(request, past, None, held)
        said = replace(said, reason=reason, basis=_basis(request, past, None))
        return settled(request, said)
    stretch = blend.WIDENING if widened else 1.0
    known = blend.pooled(request.local, request.family, held.scores, middle.log_h)
    z = blend.calibrated(held.scores[made.phase], known, stretch, LEVELS)
    seconds = [round(exp(middle.log_h + middle.sd * float(q)) * 3600) for q in z]
    p10, p50, p90 = (min(max(s, 60), LONGEST_S) for s in seconds)
    if request.target == "rest":
        rest = round(request.rest_s or 0)
        p10, p50, p90 = p10 + rest, p50 + rest, p90 + rest
    said = replace(
        said,
        p10_s=p10,
        p50_s=p50,
        p90_s=p90,
        capped=max(seconds) > LONGEST_S,
        reason=_stays_below(request, past, middle, held) if reach < DOUBTFUL_REACH else "",
        last_core_s=_last_core(request, p50, held),
        basis=_basis(request, past, request.now_s + p50),
    )
    return settled(request, said)


def _stays_below(request: Request, past: History, now: blend.Centre | None, held: Library) -> str:
    """Return that the target may not be reached, and what a hotter pit would change."""
    pit_c = past.pit_now_c() + request.pit_change_c
    target, pit = show_temperature(request.target_c * 1000), show_temperature(pit_c * 1000)
    said = f"may not reach {target} at this pit temperature ({pit})"
    if request.pit_change_c:
        return said
    hotter = estimate(replace(request, pit_change_c=HOTTER_C), past, held)
    if hotter.p_reach < LEAST_REACH:
        return f"{said}, nor with {HOTTER_C:.0f} C more: wrap it tighter or raise the pit further"
    there_s = exp(hotter.centre.log_h) * 3600.0
    if now is None:
        return f"{said}: with {HOTTER_C:.0f} C more in about {show_duration(there_s * 1000)}"
    sooner_s = exp(now.log_h) * 3600.0 - there_s
    if sooner_s < LEAST_SHIFT_S:
        return f"{said}: {HOTTER_C:.0f} C more makes it surer, not sooner"
    return f"{said}: {HOTTER_C:.0f} C more brings it forward by {show_duration(sooner_s * 1000)}"


def _basis(request: Request, past: History, done_s: float | None) -> Basis:
    return Basis(
        made_s=request.now_s,
        done_s=done_s,
        target_c=request.target_c,
        pit_c=past.pit_now_c() if past.pit_known else None,
        slope_c_per_h=past.slope_c_per_h(60),
        wrap=request.wrap,
    )


def _last_core(request: Request, p50_s: int, held: Library) -> int | None:
    """Return when the slowest of several probes is there, by the library's ratio to the lead."""
    if not request.others:
        return None
    own = history(request)
    assert own is not None
    lead, _ = held.predict(features(request, own))
    latest = p50_s
    for other in request.others:
        beside = replace(request, core=other, others=())
        past = history(beside)
        if cannot_say(beside, past) or past is None:
            continue
        if past.level_c >= request.target_c:
            continue
        there, _ = held.predict(features(beside, past))
        latest = max(latest, round(p50_s * exp(min(there - lead, log(4.0)))))
    return min(latest, LONGEST_S)
