"""Decoders put together: by source, with a unit from the configuration, with a label."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

from pitlogger.devices.contract import ChannelInfo, Chunk, Decoder, Measurement
from pitlogger.errors import DecodeError, UnknownFrameError
from pitlogger.model.readings import Quality

Outcome = Measurement | DecodeError


class SourceDecoder:
    """Give each source of a device a decoder of its own.

    A source is a kind, or a kind and a label: ``2a6e/point`` goes to the decoder of ``2a6e``
    and its channels are called ``temperature/point``.

    Args:
        kinds: What makes a decoder for each kind.
        gives: What a kind gives, for a source of it that cannot be read.
        lacking: The quality of such a source.
    """

    def __init__(
        self,
        kinds: Mapping[str, Callable[[], Decoder]],
        gives: Mapping[str, Sequence[ChannelInfo]] | None = None,
        lacking: Quality = Quality.FAULT,
    ) -> None:
        self._kinds = kinds
        self._lacking = lacking
        self._gives = gives or {}
        self._decoders: dict[str, Decoder] = {}

    def missing(self, source: str) -> Iterator[Measurement]:
        """Yield what a source that cannot be read would give, without a value."""
        kind, _, label = source.partition("/")
        for one in self._gives.get(kind, ()):
            name = f"{one.name}/{label}" if label else one.name
            yield Measurement(name, one.quantity, None, one.unit, self._lacking)

    def feed(self, chunk: Chunk) -> Iterable[Outcome]:
        """Return what a source's decoder makes of its bytes."""
        kind, _, label = chunk.source.partition("/")
        decoder = self._decoders.get(chunk.source)
        if decoder is None:
            make = self._kinds.get(kind)
            if make is None:
                known = ", ".join(self._kinds)
                return [UnknownFrameError(f"source '{chunk.source}' is none of {known}")]
            decoder = self._decoders[chunk.source] = make()
        outcomes = decoder.feed(chunk)
        return [_labelled(outcome, label) for outcome in outcomes] if label else outcomes


def _labelled(outcome: Outcome, label: str) -> Outcome:
    if isinstance(outcome, Measurement):
        return outcome._replace(channel=f"{outcome.channel}/{label}")
    return outcome


class UnitDecoder:
    """Complete readings that come without a unit by the one a person gave; never guess one."""

    def __init__(self, inner: Decoder, unit: str) -> None:
        self._inner = inner
        self._unit = unit

    def feed(self, chunk: Chunk) -> list[Outcome]:
        """Return the inner decoder's readings, each with a unit."""
        return [self._complete(outcome) for outcome in self._inner.feed(chunk)]

    def _complete(self, outcome: Outcome) -> Outcome:
        if not isinstance(outcome, Measurement) or outcome.unit or outcome.value is None:
            return outcome
        if not self._unit:
            return UnknownFrameError(
                f"{outcome.channel} {outcome.value:g} came without a unit: set it on the device, "
                'or write unit = "kg" (or another) in its configuration',
                remedy='Set a unit on the device, or write unit = "kg" in its configuration',
            )
        return outcome._replace(unit=self._unit)
