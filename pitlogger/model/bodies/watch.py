"""What the node noticed: alerts, forecasts, devices, troubles, its own runs and clock."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from pitlogger.model.alerts import AlertState, Priority


@dataclass(frozen=True, slots=True)
class AlertActed:
    """A person acted on an alert."""

    alert: str
    action: Literal[
        "acknowledge", "unacknowledge", "shelve", "unshelve", "remove", "return", "reset", "answer"
    ]
    until_ms: int | None = None
    reason: str = ""
    kind: Literal["alert-acted"] = "alert-acted"


@dataclass(frozen=True, slots=True)
class AlertChanged:
    """An alert entered a state."""

    alert: str
    alert_kind: str
    was: AlertState
    now: AlertState
    priority: Priority
    wakes: bool = False
    piece: str | None = None
    channel: str | None = None
    value: int | None = None
    unit: Literal["c", "g"] | None = None
    message: str = ""
    remedy: str = ""
    until_ms: int | None = None
    limit: int | None = None  # of a limit alert, milli-units at the crossing
    kind: Literal["alert-changed"] = "alert-changed"


@dataclass(frozen=True, slots=True)
class ForecastMade:
    """A forecast took effect; quantiles are engine milliseconds, or ``None`` if never reached."""

    piece: str
    target: Literal["wrap", "pull", "rest"]
    p_reach: float
    widened: bool
    requested_ms: int
    p10_ms: int | None = None
    p50_ms: int | None = None
    p90_ms: int | None = None
    reason: str = ""
    kind: Literal["forecast-made"] = "forecast-made"

    @property
    def of(self) -> str:
        """Tells forecasts of several targets apart."""
        return f"{self.piece}/{self.target}"


@dataclass(frozen=True, slots=True)
class ForecastSkipped:
    piece: str
    target: Literal["wrap", "pull", "rest"]
    requested_ms: int
    reason: str
    kind: Literal["forecast-skipped"] = "forecast-skipped"

    @property
    def of(self) -> str:
        """Tells forecasts of several targets apart."""
        return f"{self.piece}/{self.target}"


@dataclass(frozen=True, slots=True)
class LocalScore:
    """One moment of a finished cook of the owner's: how far off the forecast was.

    ``z`` is (log true remaining time - log forecast) / forecast spread. ``cook`` tells
    cooks apart; ``family`` is the family of the piece. ``log_h`` is the log of the hours forecast;
    earlier records have no ``piece`` or no ``log_h``.
    """

    cook: str
    family: str
    z: float
    piece: str = ""
    log_h: float | None = None


@dataclass(frozen=True, slots=True)
class ForecastScored:
    """A cook is finished: how far off its forecasts were."""

    scores: tuple[LocalScore, ...]
    kind: Literal["forecast-scored"] = "forecast-scored"


@dataclass(frozen=True, slots=True)
class ForecastTaught:
    """A cook begins: what earlier ones teach its forecasts. Its record holds it for replay."""

    scores: tuple[LocalScore, ...]
    kind: Literal["forecast-taught"] = "forecast-taught"


@dataclass(frozen=True, slots=True)
class DeviceChanged:
    """A device was found, lost or is in trouble; ``remedy`` says what to do."""

    device: str
    status: Literal["up", "lost"]
    message: str = ""
    remedy: str = ""
    kind: Literal["device-changed"] = "device-changed"


@dataclass(frozen=True, slots=True)
class TroubleChanged:
    """Something outside the readings went wrong or was mended: store, disk, clock, notifying.

    ``alert`` is the kind of alert it raises, ``subject`` what is in trouble.
    """

    alert: Literal[
        "store-failing",
        "notify-failing",
        "uplink-behind",
        "node-slow",
        "disk-low",
        "clock-unset",
        "battery-low",
        "check-overdue",
    ]
    subject: str
    active: bool
    message: str = ""
    remedy: str = ""
    kind: Literal["trouble-changed"] = "trouble-changed"


@dataclass(frozen=True, slots=True)
class RunStarted:
    """A process life began. ``gap_ms`` is the time since the last run, ``None`` if unknown."""

    boot_id: str
    version: str
    utc_trusted: bool
    gap_ms: int | None = None
    kind: Literal["run-started"] = "run-started"


@dataclass(frozen=True, slots=True)
class ClockSet:
    """Wall time became known or was stepped; ``offset_ms`` is UTC less engine time from now on.

    ``gap_ms`` is the time since the last run, where that was not known when this one began.
    """

    offset_ms: int
    trusted: bool = True
    gap_ms: int | None = None
    kind: Literal["clock-set"] = "clock-set"
