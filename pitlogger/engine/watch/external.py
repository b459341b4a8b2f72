"""What comes from outside a cook: devices lost, checks made, troubles of the node."""

from __future__ import annotations

from pitlogger.engine.annunciator import Annunciator
from pitlogger.engine.compiled_channel import Lane
from pitlogger.engine.watch.instruments import Instruments
from pitlogger.model import journal

# Not part of a cook's book.
PASSING = (
    journal.AlertActed, journal.CheckMade, journal.CorrectiveTaken, journal.DeviceChanged,
    journal.ForecastScored, journal.ForecastTaught, journal.RunStarted, journal.SignedOff,
    journal.TroubleChanged,
)  # fmt: skip


def take_outside(
    body: journal.Body, alerts: Annunciator, instruments: Instruments, lanes: dict[str, Lane],
    t_ms: int, by: str = "",
) -> None:  # fmt: skip
    """Take what an entry says of a device, a check, a trouble or a breach to its alert."""
    match body:
        case journal.CorrectiveTaken(alert=str(alert)):
            alerts.dispose(
                alert, t_ms, f"{body.disposition}, by {by}" if by else body.disposition, by
            )
        case journal.DeviceChanged():
            key = f"device-lost/{body.device}"
            alerts.watch(key, "device-lost")
            alerts.condition(key, t_ms, body.status == "lost", body.message, body.remedy)
        case journal.TroubleChanged():
            key = f"{body.alert}/{body.subject}"
            alerts.watch(key, body.alert)
            alerts.condition(key, t_ms, body.active, body.message, body.remedy)
        case journal.CheckMade():
            if "check-overdue/node" in alerts.watches:
                alerts.condition("check-overdue/node", t_ms, False)
            if body.instrument in lanes:
                instruments.checked(lanes[body.instrument], body, t_ms)
        case _:
            pass
