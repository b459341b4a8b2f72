"""Feeding a decoder: whole, byte by byte, and damaged."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from pitlogger.devices.contract import Chunk, Decoder, Measurement
from pitlogger.errors import DecodeError

Outcome = Measurement | DecodeError


def feed_whole(decoder: Decoder, chunks: Iterable[Chunk]) -> list[Outcome]:
    """Return what a decoder makes of chunks as they are."""
    return [outcome for chunk in chunks for outcome in decoder.feed(chunk)]


def feed_bytewise(decoder: Decoder, chunks: Iterable[Chunk]) -> list[Outcome]:
    """Return what a decoder makes of the same bytes one at a time; for streams alone."""
    single = (Chunk(chunk.source, bytes((byte,))) for chunk in chunks for byte in chunk.data)
    return feed_whole(decoder, single)


def outcomes_of(outcomes: Iterable[Outcome]) -> list[tuple[str, str]]:
    """Return outcomes in a form that can be compared: kind, and all that was said."""
    return [(type(outcome).__name__, str(outcome)) for outcome in outcomes]


def damaged(chunk: Chunk) -> Iterator[Chunk]:
    """Yield a chunk cut at each place, and with each bit turned."""
    for end in range(len(chunk.data)):
        yield chunk._replace(data=chunk.data[:end])
    for bit in range(len(chunk.data) * 8):
        raw = bytearray(chunk.data)
        raw[bit // 8] ^= 1 << bit % 8
        yield chunk._replace(data=bytes(raw))
