"""What a person may do about an alert: in which states, with what answers and reasons."""

from __future__ import annotations

from pitlogger.errors import UsageError, unknown
from pitlogger.model.alerts import AlertState
from pitlogger.model.journal import AlertActed
from pitlogger.rules.conditions import Watch

_ACTS: dict[str, frozenset[AlertState]] = {
    "acknowledge": frozenset(
        {
            AlertState.UNACKNOWLEDGED,
            AlertState.RETURNED_UNACKNOWLEDGED,
            AlertState.LATCHED_UNACKNOWLEDGED,
        }
    ),
    "unacknowledge": frozenset({AlertState.ACKNOWLEDGED, AlertState.LATCHED_ACKNOWLEDGED}),
    "shelve": frozenset(
        {
            AlertState.NORMAL,
            AlertState.UNACKNOWLEDGED,
            AlertState.ACKNOWLEDGED,
            AlertState.RETURNED_UNACKNOWLEDGED,
        }
    ),
    "unshelve": frozenset({AlertState.SHELVED}),
    "remove": frozenset(),  # of earlier versions: nothing is taken out of service any more
    "return": frozenset(),
    "reset": frozenset({AlertState.LATCHED_ACKNOWLEDGED}),
    "answer": frozenset({AlertState.UNACKNOWLEDGED, AlertState.ACKNOWLEDGED}),
}
# What can be answered to a prompt. Wrapping and taking off are entered by setting the stage.
ANSWERS: dict[str, tuple[str, ...]] = {
    "wrap-due": ("not yet", "leaving it bare"),
    "tender-check-due": ("tender", "not yet", "point only"),
    "stage-likely": ("yes", "no"),
    "weight-likely": ("all", "first", "second", "neither"),
    "weight-kept": ("undo",),
}
_RECOGNISED = ("stage-likely/", "weight-likely/", "weight-kept/")


def check_act(body: AlertActed, watches: dict[str, Watch], t_ms: int) -> None:
    """Refuse an act on an alert that its state does not allow, or that lacks what it needs.

    Raises:
        UsageError: With what could be done instead.
    """
    watch = watches.get(body.alert)
    if watch is None and body.alert.startswith(_RECOGNISED):
        return  # of a record that is replayed without recognition
    if watch is None:
        raise UsageError(unknown("alert", body.alert, watches) if watches else
                         f"there is no alert '{body.alert}': none is watched now")  # fmt: skip
    allowed = _ACTS.get(body.action)
    if allowed is not None and watch.state not in allowed:
        raise UsageError(
            f"alert '{body.alert}' is {watch.state}: there is nothing to {body.action}"
        )
    if body.action == "shelve":
        if body.until_ms is None or body.until_ms <= t_ms:
            raise UsageError(f"shelving '{body.alert}' needs an end that lies ahead")
        if not body.reason:
            raise UsageError(f"shelving '{body.alert}' needs a reason")
    is_named = watch.kind == "weight-likely" and bool(body.reason)  # weights.check looks at it
    known = ANSWERS.get(watch.kind, ())
    if body.action == "answer" and body.reason not in known and not is_named:
        if not known:
            raise UsageError(f"alert '{body.alert}' has no answers: acknowledge it")
        raise UsageError(f"alert '{body.alert}': {unknown('answer', body.reason, known)}")
    if body.action == "reset" and not body.reason:
        raise UsageError(f"to {body.action} '{body.alert}' needs a reason: say what was done")
