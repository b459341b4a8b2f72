"""``pitlogger decode``: what a decoder makes of bytes."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any, BinaryIO

import click

from pitlogger.cli.output import emit, json_option, table
from pitlogger.errors import ConfigError, DecodeError, DriverError, UsageError

if TYPE_CHECKING:
    from pitlogger.devices.contract import Measurement
    from pitlogger.devices.decoders import DecodeOptions, DecoderInfo

MOST_BYTES = 16 << 20  # hours of any instrument; a device such as /dev/zero has no end
_ESCAPES = {"n": 10, "r": 13, "t": 9, "0": 0, "\\": 92, "'": 39, '"': 34}
_ESCAPE = re.compile(rb"\\(?:x([0-9A-Fa-f]{2})|(.)|$)", re.DOTALL)


@click.command()
@click.argument("decoder", required=False, metavar="DECODER|FILE.toml")
@click.option("--list", "as_list", is_flag=True, help="Name the decoders.")
@click.option(
    "--hex", "frames", multiple=True, metavar="BYTES",
    help="One frame in hex; '' is zero bytes. Repeat it for frames that follow each other.",
)  # fmt: skip
@click.option("--text", metavar="TEXT", help=r"Text; takes \r \n \t \0 \xHH and \\.")
@click.option("--file", "source", type=click.File("rb"), help="A file of raw bytes; - is stdin.")
@click.option("--key", metavar="HEX", help="Encryption key, 32 hex digits.")
@click.option("--address", default="", metavar="AA:BB:..", help="Bluetooth address of the sender.")
@click.option("--map", "mapping", default="", metavar="MAP", help="Registers or columns.")
@json_option
def decode(
    decoder: str | None,
    as_list: bool,
    frames: tuple[str, ...],
    text: str | None,
    source: BinaryIO | None,
    key: str | None,
    address: str,
    mapping: str,
    as_json: bool,
) -> None:
    """Show what DECODER makes of bytes: its readings, or why they are refused.

    DECODER is a name from --list, or the TOML file of a declared device. A register map is
    REGISTER:TYPE:SCALE:UNIT, as in "0:i16:0.1:Cel,2:f32-be:1:Cel"; a column map is NAME:UNIT,
    as in "ms,pit:Cel,bench:kg". Exit code 1 if the bytes are refused.

    \b
    Examples:
      pitlogger decode gatt-2a9d --hex 00c800
      pitlogger decode serial-scale --text 'ST,GS,+  1.234kg\\r\\n'
      pitlogger decode type-k --text 'mV=4.096,cj=25'
    """
    from pitlogger.devices.decoders import DECLARED, DecodeOptions, declaration_text, load

    if as_list:
        _show_list(as_json)
        return
    if decoder is None:
        raise UsageError("name a decoder; `pitlogger decode --list` shows them")
    declaration = declaration_text(decoder)
    info = load(DECLARED if declaration is not None else decoder)
    options = DecodeOptions(
        key=_bytes(key, "--key") if key is not None else None,
        address=address,
        map=mapping,
        declaration=declaration or "",
    )
    _refuse_unused(info, options)
    _show(*_run(info, options, _chunks(frames, text, source)), as_json)


def _show_list(as_json: bool) -> None:
    from pitlogger.devices.decoders import DECLARED, declaration_text, load, names

    rows = []
    for name in names():
        try:
            info = load(DECLARED if declaration_text(name) is not None else name)
            rows.append({"name": name, "summary": info.summary, "example": info.example})
        except (ConfigError, DriverError) as error:  # one bad package must not hide the rest
            rows.append({"name": name, "summary": str(error), "example": ""})
    lines = table([[row["name"], row["summary"]] for row in rows], ["decoder", "reads"])
    emit({"decoders": rows}, as_json, f"{lines}\n\nA declared device: give the path of its TOML.")


def _refuse_unused(info: DecoderInfo, options: DecodeOptions) -> None:
    given = {"key": options.key is not None, "address": options.address, "map": options.map}
    unused = [f"--{name}" for name, value in given.items() if value and name not in info.options]
    if unused:
        raise UsageError(f"decoder '{info.name}' has no use for {', '.join(unused)}")


def _chunks(frames: tuple[str, ...], text: str | None, source: BinaryIO | None) -> list[bytes]:
    if sum((bool(frames), text is not None, source is not None)) != 1:
        raise UsageError("give the bytes in one way: --hex, --text or --file")
    if text is not None:
        return [_unescape(text)]
    if source is not None:
        if len(content := source.read(MOST_BYTES + 1)) > MOST_BYTES:
            most = f"{MOST_BYTES >> 20} MB"
            raise UsageError(f"--file holds more than {most}: give one run of frames")
        return [content]
    return [_bytes(frame, "--hex") for frame in frames]


def _bytes(text: str, option: str) -> bytes:
    digits = re.sub(r"[\s:_-]|0x", "", text)
    if len(digits) % 2 or not re.fullmatch(r"[0-9A-Fa-f]*", digits):
        raise UsageError(
            f"{option} '{text}' is no hex: write two digits a byte, such as 00c800 or '00 c8 00'"
        )
    return bytes.fromhex(digits)


def _unescape(text: str) -> bytes:
    def replace(match: re.Match[bytes]) -> bytes:
        if match[1] is not None:
            return bytes.fromhex(match[1].decode("ascii"))
        letter = (match[2] or b"").decode("latin-1")
        if letter not in _ESCAPES:
            raise UsageError(
                f"--text holds the unknown escape '\\{letter}': use \\r \\n \\t \\0 \\xHH or \\\\"
            )
        return bytes([_ESCAPES[letter]])

    return _ESCAPE.sub(replace, text.encode("utf-8", "surrogateescape"))


def _run(
    info: DecoderInfo, options: DecodeOptions, chunks: list[bytes]
) -> tuple[list[Measurement], list[DecodeError]]:
    from pitlogger.devices.contract import Chunk
    from pitlogger.devices.framing import StreamDecoder

    decoder = info.build(options)
    outcomes = [outcome for data in chunks for outcome in decoder.feed(Chunk("", data))]
    if isinstance(decoder, StreamDecoder):
        outcomes += decoder.finish()
    readings = [outcome for outcome in outcomes if not isinstance(outcome, DecodeError)]
    return readings, [outcome for outcome in outcomes if isinstance(outcome, DecodeError)]


def _document(reading: Measurement) -> dict[str, Any]:
    found = reading._asdict()
    return found if reading.text else {name: found[name] for name in found if name != "text"}


def _show(readings: list[Measurement], errors: list[DecodeError], as_json: bool) -> None:
    """Print the document; raise the first error after it, so that the exit code shows it."""
    first = errors[0] if errors else None
    document: dict[str, Any] = {
        "readings": [_document(reading) for reading in readings],
        "error": first and {"type": type(first).__name__, "message": str(first)},
    }
    rows = [
        [
            reading.channel,
            reading.text or ("-" if reading.value is None else f"{reading.value:.12g}"),
            reading.unit,
            reading.quality,
            {None: "", True: "stable", False: "moving"}[reading.stable],
        ]
        for reading in readings
    ]
    text = table(rows, ["channel", "value", "unit", "quality", ""]) if rows else "no reading"
    emit(document, as_json, text)
    if first is not None:
        raise first
