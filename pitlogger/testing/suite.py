"""The contract every driver meets, as a class of tests to inherit from."""

from __future__ import annotations

import random
import re
from pathlib import Path
from typing import Any, ClassVar

from pitlogger.devices import contract
from pitlogger.devices.registry import configure
from pitlogger.devices.transports.recording import read_recording
from pitlogger.errors import DecodeError
from pitlogger.model.quantities import MG_PER, Quantity
from pitlogger.testing.feeding import damaged, feed_whole, outcomes_of

RESERVED = frozenset(("id", "driver", "channel", "button"))  # keys of [[device]] itself
UNITS: dict[Quantity, frozenset[str]] = {
    Quantity.TEMPERATURE: frozenset(("Cel", "degF", "")),
    Quantity.MASS: frozenset((*MG_PER, "")),
    Quantity.HUMIDITY: frozenset(("%RH",)),
    Quantity.BATTERY: frozenset(("%EL", "")),  # a low-battery sign has none
    Quantity.SIGNAL: frozenset(("dBm",)),
    Quantity.PRESSURE: frozenset(("Pa",)),
    Quantity.VOLTAGE: frozenset(("V",)),
    Quantity.BUTTON: frozenset(("",)),
    Quantity.CODE: frozenset(("",)),
}
_TRANSPORT = re.compile(r"[a-z][a-z0-9-]*")  # one of pitlogger's, or a name of one's own


class DriverContract:
    """Inherit, set the three attributes, and pytest collects the tests.

    Attributes:
        driver: The driver's class.
        config: Keys of its configuration, as a person would write them.
        recording: A capture made by ``pitlogger devices record``, or synthetic and saying so.
    """

    driver: ClassVar[type[contract.Driver]]
    config: ClassVar[dict[str, Any]] = {}
    recording: ClassVar[Path]

    def _config(self) -> contract.DriverConfig:
        return configure(self.driver.info, self.config, "contract suite")

    def _decoder(self) -> contract.Decoder:
        return self.driver({}).decoder(self._config())

    def _chunks(self) -> list[contract.Chunk]:
        return [timed.chunk for timed in read_recording(self.recording)[1]]

    def test_the_description_is_complete(self) -> None:
        info = self.driver.info
        assert isinstance(info, contract.DriverInfo)
        assert info.name
        assert info.summary
        assert _TRANSPORT.fullmatch(info.transport), "name the way in lowercase, such as i2c"
        assert info.channels
        assert info.interval_s > 0
        assert issubclass(info.config, contract.DriverConfig)

    def test_every_channel_has_a_unit_of_its_quantity(self) -> None:
        for channel in self.driver.info.channels:
            assert channel.unit in UNITS[channel.quantity], channel

    def test_an_unknown_key_of_the_configuration_is_refused(self) -> None:
        assert self.driver.info.config.model_config.get("extra") == "forbid"

    def test_no_key_is_one_that_every_device_has(self) -> None:
        assert not RESERVED & set(self.driver.info.config.model_fields)

    def test_every_command_has_bytes(self) -> None:
        driver = self.driver({})
        for name in self.driver.info.commands:
            assert driver.command(name)

    def test_the_transport_is_a_transport(self) -> None:
        assert isinstance(self.driver({}).transport(self._config()), contract.Transport)

    def test_the_recording_names_this_driver_and_gives_readings(self) -> None:
        header, _ = read_recording(self.recording)
        outcomes = feed_whole(self._decoder(), self._chunks())
        assert header.driver == self.driver.info.name
        assert [outcome for outcome in outcomes if isinstance(outcome, contract.Measurement)]

    def test_what_it_gives_are_channels_it_describes(self) -> None:
        for outcome in feed_whole(self._decoder(), self._chunks()):
            if isinstance(outcome, contract.Measurement):
                assert self._describes(outcome), outcome

    def _describes(self, found: contract.Measurement) -> bool:
        return found.unit in UNITS[found.quantity] and any(
            channel.quantity is found.quantity and channel.covers(found.channel)
            for channel in self.driver.info.channels
        )

    def test_the_same_bytes_give_the_same_readings(self) -> None:
        chunks = self._chunks()
        first, second = feed_whole(self._decoder(), chunks), feed_whole(self._decoder(), chunks)
        assert outcomes_of(first) == outcomes_of(second)

    def test_damaged_bytes_give_readings_or_named_errors(self) -> None:
        for chunk in self._chunks()[:3]:
            for hurt in damaged(chunk):
                self._check(feed_whole(self._decoder(), [hurt]))

    def test_noise_gives_readings_or_named_errors(self) -> None:
        noise = random.Random(1)  # noqa: S311 - the same noise every time
        sources = sorted({chunk.source for chunk in self._chunks()})
        decoder = self._decoder()
        for _ in range(2000):
            data = noise.randbytes(noise.randrange(40))
            self._check(feed_whole(decoder, [contract.Chunk(noise.choice(sources), data)]))

    def _check(self, outcomes: list[contract.Measurement | DecodeError]) -> None:
        for outcome in outcomes:
            assert isinstance(outcome, contract.Measurement | DecodeError)
            if isinstance(outcome, DecodeError):
                assert str(outcome)
            else:
                assert outcome.value is None or abs(outcome.value) < 1e15

    async def test_a_transport_that_never_opened_closes_cleanly(self) -> None:
        await self.driver({}).transport(self._config()).__aexit__(None, None, None)
