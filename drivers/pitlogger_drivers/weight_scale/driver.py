"""Bluetooth scales with the Weight Scale service."""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import ClassVar

from pitlogger.devices.contract import ChannelInfo, Chunk, DriverBase, DriverInfo, Measurement
from pitlogger.devices.framing import FrameDecoder, Outcome
from pitlogger.devices.transports.ble.gatt import GattTransport
from pitlogger.errors import DecodeError
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Quality
from pitlogger_drivers.bluetooth import BATTERY, GattConfig, battery_decoder, gatt_settings
from pitlogger_drivers.routing import SourceDecoder
from pitlogger_drivers.weight_scale.decode import decode, measured_at

BURST_S = 2.0  # ours: stored results follow each other and the connect closely
WHOLE_BURST_S = 10.0  # ours: all of them are sent by then; what still comes is a stream
FRESH = timedelta(minutes=5)  # ours: a set clock is this near


class StoredResultsDecoder:
    """Mark the first burst after a connect: it may hold old results.

    The service may send what was stored before what is on the scale now, told apart by the
    time stamp alone (from memory). A stamp that is near now makes a result a fresh one. A burst
    has an end: a scale that goes on sending sends what is on it now.
    """

    def __init__(
        self,
        monotonic_s: Callable[[], float] = time.monotonic,
        local_now: Callable[[], datetime] = datetime.now,
    ) -> None:
        self._inner = FrameDecoder(decode)
        self._monotonic_s = monotonic_s
        self._local_now = local_now
        began_s = monotonic_s()
        self._burst_until_s = began_s + BURST_S
        self._latest_s = began_s + WHOLE_BURST_S

    def feed(self, chunk: Chunk) -> list[Outcome]:
        """Return the mass, marked where it may be old."""
        now_s = self._monotonic_s()
        in_burst = now_s <= self._burst_until_s
        if in_burst:
            self._burst_until_s = min(now_s + BURST_S, self._latest_s)
        outcomes = list(self._inner.feed(chunk))
        if not in_burst or self._is_fresh(chunk.data):
            return outcomes
        return [_marked(outcome) for outcome in outcomes]

    def _is_fresh(self, frame: bytes) -> bool:
        try:
            stamp = measured_at(frame)
        except DecodeError:
            return False
        return stamp is not None and abs(self._local_now() - stamp) <= FRESH


def _marked(outcome: Outcome) -> Outcome:
    if isinstance(outcome, Measurement) and outcome.quality is Quality.GOOD:
        return outcome._replace(quality=Quality.POSSIBLY_STORED)
    return outcome


class WeightScale(DriverBase):
    """A scale that sends its settled results."""

    info: ClassVar[DriverInfo] = DriverInfo(
        name="weight-scale",
        summary="Bluetooth scale (Weight Scale service)",
        transport="ble-gatt",
        channels=(
            ChannelInfo("mass", Quantity.MASS, "kg", "settled results", settled=True),
            BATTERY,
        ),
        interval_s=43200.0,  # it speaks when something is weighed
        config=GattConfig,
        signs=("service:181d",),
        decoders=("gatt-2a9d", "gatt-2a19"),
    )

    def decoder(self, config: GattConfig) -> SourceDecoder:
        """Return a decoder for weight and battery."""
        return SourceDecoder({"2a9d": StoredResultsDecoder, "2a19": battery_decoder})

    def transport(self, config: GattConfig) -> GattTransport:
        """Return a link to the scale."""
        return GattTransport(gatt_settings(config, "2a9d"))
