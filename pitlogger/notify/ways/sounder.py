"""The sounder, its button, lamps, and a relay held on while all is well, on GPIO pins.

The only way that needs no network. Needs the extra ``gpio`` (gpiozero with lgpio).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from pitlogger.config_notify import SounderTable
from pitlogger.model.alerts import Priority
from pitlogger.notify.ways.pins import explained, open_pins

# Seconds on, seconds off. High is fast and cannot be overheard; low is a chirp a minute.
PATTERN: dict[Priority, tuple[float, float]] = {
    Priority.HIGH: (0.2, 0.2),
    Priority.MEDIUM: (0.6, 2.4),
    Priority.LOW: (0.1, 60.0),
}
_BOUNCE_S = 0.05
_TEST = (0.2, 0.2, 3)


class Sounder:
    """Sounds the gravest alert that nobody has acknowledged.

    Args:
        table: Pins.
        on_button: Called from gpiozero's own thread when the button is pressed.
        factory: Where pins come from; those of the machine unless a test gives others.

    Raises:
        DeliveryError: No such pins here, no right to use them, or the extra is not installed.
    """

    def __init__(
        self, table: SounderTable, on_button: Callable[[], object], factory: Any = None
    ) -> None:
        factory = factory or open_pins()
        from gpiozero import LED, Button, Buzzer, DigitalOutputDevice

        self._sounding: Priority | None = None
        self._buzzer = self._button = self._relay = None
        self._lights: dict[Priority, Any] = {}
        self._lit: dict[Priority, str] = {}
        with_pins = {"pin_factory": factory}
        try:
            if table.pin is not None:
                self._buzzer = Buzzer(table.pin, active_high=table.active_high, **with_pins)
            if table.button_pin is not None:
                self._button = Button(table.button_pin, bounce_time=_BOUNCE_S, **with_pins)
                self._button.when_pressed = on_button
            if table.healthy_pin is not None:
                self._relay = DigitalOutputDevice(table.healthy_pin, **with_pins)
            for name, pin in table.lights.items():
                self._lights[Priority[name.upper()]] = LED(pin, **with_pins)
        except Exception as fault:  # the libraries of pins raise what they like
            self.close()
            raise explained(fault) from None

    def sound(self, gravest: Priority | None) -> None:
        """Sound as the gravest alert asks, ``None`` for silence; the same again changes nothing."""
        if self._buzzer is None or gravest is self._sounding:
            return
        self._sounding = gravest
        if gravest is None:
            self._buzzer.off()
        else:
            on_s, off_s = PATTERN[gravest]
            self._buzzer.beep(on_time=on_s, off_time=off_s)

    def light(self, lit: Mapping[Priority, str]) -> None:
        """Let each lamp be ``off``, ``on`` or ``blink``; the same again changes nothing."""
        for priority, lamp in self._lights.items():
            how = lit.get(priority, "off")
            if self._lit.get(priority) != how:
                self._lit[priority] = how
                getattr(lamp, how)()

    @property
    def is_sounding(self) -> bool:
        """Whether an alert is being sounded."""
        return self._sounding is not None

    def hold(self, well: bool) -> None:
        """Hold the relay on while all is well: without power or daemon it falls off."""
        if self._relay is not None:
            self._relay.value = well

    def try_out(self) -> str:
        """Beep three times and return what a person should have heard."""
        if self._buzzer is None:
            return "no sounder pin is configured"
        on_s, off_s, times = _TEST
        self._buzzer.beep(on_time=on_s, off_time=off_s, n=times, background=False)
        return "it should have beeped three times"

    def close(self) -> None:
        """Be silent and give the pins back; the relay falls off."""
        lamps = tuple(self._lights.values())
        for output in (self._buzzer, self._relay, *lamps):
            if output is not None and not output.closed:
                output.off()  # a pin given back may keep its last level
        for device in (self._buzzer, self._button, self._relay, *lamps):
            if device is not None:
                device.close()
