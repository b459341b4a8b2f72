"""A recording of a device's bytes, or a SenML capture, in place of a device."""

from __future__ import annotations

import json
from pathlib import Path
from typing import ClassVar

from pydantic import Field

from pitlogger.devices.contract import Chunk, Decoder, DriverBase, DriverConfig, DriverInfo
from pitlogger.devices.framing import FrameDecoder
from pitlogger.devices.registry import Registry, configure
from pitlogger.devices.transports.recording import (
    ReplayTransport,
    TimedChunk,
    read_recording,
)
from pitlogger.errors import CaptureError
from pitlogger.formats.capture import resolve
from pitlogger_drivers.mqtt_senml.decode import decode
from pitlogger_drivers.mqtt_senml.driver import CHANNELS


class ReplayConfig(DriverConfig):
    """Which file, and how fast."""

    file: Path
    speed: float = Field(default=1.0, ge=0, description="1 as recorded; 0 as fast as it can")


class Replay(DriverBase):
    """A recording is decoded by the driver that made it; a capture is SenML."""

    info: ClassVar[DriverInfo] = DriverInfo(
        name="replay",
        summary="plays a recording or a SenML capture back",
        transport="replay",
        channels=CHANNELS,
        interval_s=60.0,
        config=ReplayConfig,
        decoders=("senml",),
    )

    def decoder(self, config: ReplayConfig) -> Decoder:
        """Return the decoder of the driver that was recorded, or that of SenML.

        Raises:
            CaptureError, DriverError, ConfigError: The file, or what it names, is unusable.
        """
        if not is_recording(config.file):
            return FrameDecoder(decode)
        header, _ = read_recording(config.file)
        driver = Registry().load(header.driver)
        inner = configure(driver.info, header.config, f"{config.file}:1")
        return driver({}).decoder(inner)

    def transport(self, config: ReplayConfig) -> ReplayTransport:
        """Return what was recorded, at its own pace times ``speed``.

        Raises:
            CaptureError: The file cannot be read.
        """
        if is_recording(config.file):
            _, chunks = read_recording(config.file)
        else:
            chunks = capture_chunks(config.file)
        return ReplayTransport(chunks, config.speed)


def is_recording(path: Path) -> bool:
    """Tell a recording from a capture by its first line."""
    return _lines(path)[0].startswith(b'{"recording"')


def capture_chunks(path: Path) -> list[TimedChunk]:
    """Return the lines of a capture with their times, milliseconds since the first.

    Raises:
        CaptureError: A line is no SenML pack.
    """
    timed: list[tuple[float, bytes]] = []
    for number, line in enumerate(_lines(path), start=1):
        if not line.strip():
            continue
        try:
            timed.append((next(resolve(json.loads(line))).time_s, line))
        except (ValueError, StopIteration) as error:
            raise CaptureError(f"{path}:{number}: not a SenML pack: {error}") from None
    start_s = timed[0][0] if timed else 0.0
    return [
        TimedChunk(max(0, round((time_s - start_s) * 1000)), Chunk("", line))
        for time_s, line in timed
    ]


def _lines(path: Path) -> list[bytes]:
    try:
        lines = path.read_bytes().splitlines()
    except OSError as error:
        raise CaptureError(f"{path}:1: cannot be read: {error.strerror}") from None
    if not lines:
        raise CaptureError(f"{path}:1: is empty; expected a recording or a SenML capture")
    return lines
