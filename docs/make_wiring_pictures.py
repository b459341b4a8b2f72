"""Draw how each kind of sensor is wired: ``python docs/make_wiring_pictures.py``.

Own drawings: boxes with terminals, and wires between them in the colour of what they carry.
"""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from pathlib import Path

PICTURES = Path(__file__).with_name("pictures")
ROW, TOP, WIDTH = 26, 46, 150
COLOURS = {
    "power": "#b3261e",
    "ground": "#333333",
    "data": "#1b6ca8",
    "heat": "#a86a1b",
    "air": "#5a7d2a",
}


@dataclass(frozen=True)
class Box:
    """A part with its terminals from top to bottom."""

    name: str
    terminals: tuple[str, ...]


@dataclass(frozen=True)
class Wire:
    """A wire between two parts: box and terminal on the left, on the right, what it carries."""

    left: tuple[int, int]
    right: tuple[int, int]
    carries: str
    label: str = ""


@dataclass(frozen=True)
class Drawing:
    """One drawing: file name, title, parts from left to right, wires, a remark below."""

    file: str
    title: str
    boxes: tuple[Box, ...]
    wires: tuple[Wire, ...]
    remark: str


def along(left: int, right: int, *carried: str) -> tuple[Wire, ...]:
    """Return one wire a terminal, straight across."""
    return tuple(Wire((left, n), (right, n), what) for n, what in enumerate(carried))


DRAWINGS = (
    Drawing(
        "wiring-bluetooth",
        "Bluetooth thermometer or scale",
        (Box("thermometer", ("own battery",)), Box("computer", ("Bluetooth",))),
        (Wire((0, 0), (1, 0), "air", "no wire; 10 m at most, no metal between"),),
        "Computer on a wired network or 5 GHz Wi-Fi. Keep the adapter out of a metal case.",
    ),
    Drawing(
        "wiring-usb-scale",
        "USB scale",
        (Box("scale", ("USB",)), Box("computer", ("USB",))),
        (Wire((0, 0), (1, 0), "data", "USB cable, 3 m at most"),),
        "A board between scale and hot pan. The scale's own supply where it has one.",
    ),
    Drawing(
        "wiring-serial-scale",
        "Serial scale (RS-232)",
        (
            Box("scale", ("TX", "RX", "GND")),
            Box("RS-232 to USB adapter", ("RX", "TX", "GND", "USB")),
            Box("computer", ("", "", "", "USB")),
        ),
        (*along(0, 1, "data", "data", "ground"), Wire((1, 3), (2, 3), "data", "USB")),
        "TX goes to RX. RS-232 carries up to 15 V: never to the pins of a board, which take 3.3 V.",
    ),
    Drawing(
        "wiring-board",
        "Board of your own that prints lines",
        (
            Box("sensors", ("3.3 V", "GND", "signal")),
            Box("micro-controller", ("3.3 V", "GND", "input", "USB")),
            Box("computer", ("", "", "", "USB")),
        ),
        (*along(0, 1, "power", "ground", "data"), Wire((1, 3), (2, 3), "data", "USB")),
        "One line a reading, values between commas, a header that names the columns with units.",
    ),
    Drawing(
        "wiring-one-wire",
        "1-Wire sensors, up to 125 degC",
        (
            Box("sensor (more in parallel)", ("VDD", "DQ", "GND")),
            Box("4.7 kOhm from DQ to VDD", ("VDD", "DQ", "GND")),
            Box("computer", ("3.3 V", "GPIO 4", "GND")),
        ),
        (*along(0, 1, "power", "data", "ground"), *along(1, 2, "power", "data", "ground")),
        "One line from sensor to sensor, no star. Without the resistor no sensor answers.",
    ),
    Drawing(
        "wiring-thermocouple",
        "Thermocouple through an amplifier (SPI)",
        (
            Box("type K probe", ("+ (yellow, or green)", "- (red, or white)")),
            Box("amplifier", ("T+", "T-", "VIN", "GND", "SCK", "CS", "SO")),
            Box("computer", ("", "", "3.3 V", "GND", "SCLK", "CE0", "MISO")),
        ),
        (
            *along(0, 1, "heat", "heat"),
            *(
                Wire((1, n), (2, n), what)
                for n, what in zip(
                    range(2, 7), ("power", "ground", "data", "data", "data"), strict=True
                )
            ),
        ),
        "Colours differ by country: leads swapped read falling when heated. No copper in between.",
    ),
    Drawing(
        "wiring-thermistor",
        "Thermistor as a divider",
        (
            Box("thermistor probe", ("a", "b")),
            Box("divider", ("middle", "GND", "3.3 V through Rs")),
            Box("micro-controller", ("analogue in", "GND", "3.3 V")),
        ),
        (*along(0, 1, "data", "ground"), *along(1, 2, "data", "ground", "power")),
        "R = Rs x adc / (full - adc). Rs near the resistance at the temperatures that matter.",
    ),
    Drawing(
        "wiring-modbus",
        "Modbus RTU transmitter (RS-485)",
        (
            Box("transmitter", ("A (+)", "B (-)", "GND", "24 V supply")),
            Box("RS-485 to USB adapter", ("A", "B", "GND", "USB")),
            Box("computer", ("", "", "", "USB")),
        ),
        (*along(0, 1, "data", "data", "ground"), Wire((1, 3), (2, 3), "data", "USB")),
        "A twisted pair, 120 Ohm at each end. Makers disagree on A and B: swap if none answers.",
    ),
    Drawing(
        "wiring-modbus-tcp",
        "Modbus TCP transmitter",
        (
            Box("transmitter", ("Ethernet",)),
            Box("switch or router", ("Ethernet",)),
            Box("computer", ("Ethernet",)),
        ),
        (*along(0, 1, "data"), *along(1, 2, "data")),
        "Modbus has no password: never on a network that guests use.",
    ),
)


def svg(drawing: Drawing) -> str:
    """Return a drawing."""
    rows = max(len(box.terminals) for box in drawing.boxes)
    gap = 330 if len(drawing.boxes) == 2 else 250
    width = 40 + gap * (len(drawing.boxes) - 1) + WIDTH
    height = TOP + 24 + rows * ROW + 44
    parts = [
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" role="img" '
            f'aria-label="{escape(drawing.title)}" font-family="sans-serif" font-size="13">'
        ),
        f'<rect width="{width}" height="{height}" fill="#ffffff"/>',
        f'<text x="20" y="24" font-size="16" font-weight="bold">{escape(drawing.title)}</text>',
    ]
    for wire in drawing.wires:
        x1, y1 = 20 + wire.left[0] * gap + WIDTH, _y(wire.left[1])
        x2, y2 = 20 + wire.right[0] * gap, _y(wire.right[1])
        dashes = ' stroke-dasharray="5 5"' if wire.carries == "air" else ""
        parts.append(
            f'<path d="M{x1} {y1} H{(x1 + x2) // 2} V{y2} H{x2}" fill="none" stroke-width="2.5" '
            f'stroke="{COLOURS[wire.carries]}"{dashes}/>'
        )
        if wire.label:
            parts.append(
                f'<text x="{(x1 + x2) // 2}" y="{min(y1, y2) - 6}" text-anchor="middle" '
                f'font-size="11">{escape(wire.label)}</text>'
            )
    for number, box in enumerate(drawing.boxes):
        x = 20 + number * gap
        parts.append(
            f'<rect x="{x}" y="{TOP}" width="{WIDTH}" height="{rows * ROW + 24}" rx="6" '
            'fill="#f3efe6" stroke="#555555"/>'
        )
        parts.append(
            f'<text x="{x + WIDTH / 2}" y="{TOP + 16}" text-anchor="middle" font-size="11" '
            f'font-weight="bold">{escape(box.name)}</text>'
        )
        for row, terminal in enumerate(box.terminals):
            parts.append(
                f'<text x="{x + WIDTH / 2}" y="{_y(row) + 4}" text-anchor="middle" '
                f'font-size="12">{escape(terminal)}</text>'
            )
    parts.append(
        f'<text x="20" y="{height - 14}" font-size="12" fill="#444444">'
        f"{escape(drawing.remark)}</text>"
    )
    return "\n".join([*parts, "</svg>", ""])


def _y(row: int) -> int:
    return TOP + 24 + row * ROW + ROW // 2


def main() -> None:
    """Write all drawings."""
    for drawing in DRAWINGS:
        (PICTURES / f"{drawing.file}.svg").write_text(svg(drawing), encoding="utf-8")


if __name__ == "__main__":
    main()
