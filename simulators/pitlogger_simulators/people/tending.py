"""The fire, the place and the person: lids, fuel, weather, sleep."""

from __future__ import annotations

from pitlogger_simulators.people.hand import Hand
from pitlogger_simulators.people.verbs import Activity

_NAP_S = 5.0


def open_lid(hand: Hand, pit: str, seconds: float) -> Activity:
    """Open a lid for so long."""
    hand.kitchen.open_lid(pit, seconds)
    hand.tell(f"opens the lid of '{pit}'")
    yield seconds


def add_fuel(hand: Hand, pit: str) -> Activity:
    """Add fuel."""
    yield hand.about(90.0)
    hand.kitchen.settle()
    hand.kitchen.smoker.fire(pit).add_fuel()
    hand.tell(f"adds fuel to '{pit}'")


def set_point(hand: Hand, pit: str, set_c: float) -> Activity:
    """Set a pit to another temperature."""
    yield hand.about(20.0)
    hand.kitchen.settle()
    hand.kitchen.smoker.fire(pit).set_point(set_c)
    hand.tell(f"sets '{pit}' to {set_c:.0f} C")


def relight(hand: Hand, pit: str) -> Activity:
    """Light a fire that went out."""
    yield hand.about(600.0)
    hand.kitchen.settle()
    hand.kitchen.smoker.fire(pit).relight()
    hand.tell(f"lights '{pit}' again")


def fire_out(hand: Hand, pit: str) -> Activity:
    """The fire dies."""
    hand.kitchen.settle()
    hand.kitchen.smoker.fire(pit).go_out()
    hand.tell(f"the fire of '{pit}' goes out")
    yield 0.0


def grease_fire(hand: Hand, pit: str) -> Activity:
    """Grease catches fire."""
    hand.kitchen.settle()
    hand.kitchen.smoker.fire(pit).flare_up()
    hand.tell(f"grease burns in '{pit}'")
    yield 0.0


def weather(hand: Hand, wind_m_s: float, rain: str | None = None) -> Activity:
    """The weather turns."""
    hand.kitchen.settle()
    hand.kitchen.smoker.weather(wind_m_s=wind_m_s, rain=rain is not None)
    hand.tell(f"wind {wind_m_s:g} m/s{', rain' if rain else ''}")
    yield 0.0


def place_air(hand: Hand, place: str, air_c: float) -> Activity:
    """A place takes another temperature, as a cabinet does that is switched off."""
    hand.kitchen.settle()
    hand.kitchen.smoker.set_place_air(place, air_c)
    hand.tell(f"the {place} goes to {air_c:.0f} C")
    yield 0.0


def press_unit(hand: Hand, unit: str) -> Activity:
    """Press the unit button of the scale."""
    for scale in hand.kitchen.scales.values():
        scale.press_unit(unit)
    hand.tell(f"switches the scale to {unit}")
    yield 1.0


def wait(hand: Hand, seconds: float) -> Activity:
    """Do nothing for a while."""
    yield seconds


def sleep(hand: Hand, seconds: float, deeply: str | None = None) -> Activity:
    """Sleep; an alert that wakes ends it, unless the sleep is deep."""
    hand.tell("goes to sleep")
    hand.is_asleep, hand.is_deaf, hand.was_woken = True, deeply is not None, False
    end_ms = hand.now_ms + round(seconds * 1000)
    while hand.now_ms < end_ms and not (hand.was_woken and deeply is None):
        yield _NAP_S
    hand.tell("is woken" if hand.now_ms < end_ms else "wakes up")
    hand.is_asleep = hand.is_deaf = False
