"""Weighing: with the scale and its tare, or read from a scale that is not connected."""

from __future__ import annotations

from collections.abc import Generator

from pitlogger.model.cooks import ByProduct, Checkpoint
from pitlogger.model.journal import Corrected, Tared, Weighed
from pitlogger_simulators.devices.instruments import Scale
from pitlogger_simulators.people.hand import Hand
from pitlogger_simulators.people.verbs import Activity

PATIENCE_S = 90.0  # then the number on the display is typed in
_ANSWER_TRIES = 40  # half seconds, until pitlogger has kept it
_TURN_S = 5.0  # how often somebody looks whether the scale is free
_UNCONNECTED_STEP_G = 5.0


def weigh(
    hand: Hand, piece: str, checkpoint: str, container: str | None = None, tare: str = "button"
) -> Activity:
    """Put a piece (or what was cut from it) on the scale and keep its mass.

    Args:
        tare: ``button`` pressed with the container alone on it, ``software`` (told to
            pitlogger), ``preset`` (its mass is known), or ``forgetting``.
    """
    kitchen = hand.kitchen
    channel, scale = next(iter(kitchen.scales.items()))
    container_g = 0.0 if container is None else kitchen.containers[container]
    yield from _fetch(hand, piece, checkpoint)
    while channel in kitchen.taken:
        yield _TURN_S
    kitchen.taken.add(channel)
    scale.press_on()
    yield hand.about(4.0)
    if container is not None:
        scale.put(container_g)
        yield hand.about(6.0)
        if tare == "button":
            scale.press_tare()
        elif tare == "software":
            hand.say(Tared(channel, round(container_g * 1000), container))
    set_aside_g = container_g if tare in ("preset", "software") else 0.0
    load_g = load_of(hand, piece, checkpoint)
    scale.put(load_g)
    hand.at_scale = True
    yield 2.0
    mass_mg = yield from _read(hand, channel, scale)
    shown_mg = _display_mg(scale) if mass_mg is None else mass_mg
    body = Weighed(
        piece, checkpoint, max(0, shown_mg), round(set_aside_g * 1000), hand.now_ms,
        source="typed" if mass_mg is None else "scale", channel=channel,
        interval_mg=round(scale.interval_g * 1000), container=container,
        preset_tare=tare == "preset",
    )  # fmt: skip
    key = hand.last_weighing[piece, checkpoint] = hand.say(body)
    for _ in range(_ANSWER_TRIES):
        if key in hand.answers:
            break
        yield 0.5
    hand.at_scale = False
    hand.tell(f"weighs it at {checkpoint}: {body.net_mg / 1e6:.3f} kg", piece)
    yield hand.about(5.0)
    scale.lift(load_g + container_g)
    if container is not None and tare == "button":
        scale.press_tare()
    if tare == "software":
        hand.say(Tared(channel, 0))
    kitchen.taken.discard(channel)
    yield from _bring_back(hand, piece, checkpoint)


def load_of(hand: Hand, piece: str, checkpoint: str) -> float:
    """Return the true mass of what is weighed at a checkpoint, grams."""
    meat = hand.kitchen.piece(piece)
    if checkpoint in set(ByProduct):
        return meat.by_products.get(checkpoint, 0.0)
    if checkpoint in (Checkpoint.LABEL, Checkpoint.PURCHASED):
        return hand.kitchen.mass_g(piece)
    return hand.kitchen.lying_g(piece)


def type_mass(hand: Hand, piece: str, checkpoint: str, error: float = 0.0) -> Activity:
    """Read a scale that is not connected and type what it shows, ``error`` grams off."""
    yield from _fetch(hand, piece, checkpoint)
    yield hand.about(25.0)
    body = _typed(hand, piece, checkpoint, error)
    hand.last_weighing[piece, checkpoint] = hand.say(body)
    hand.tell(f"types {checkpoint}: {body.net_mg / 1e6:.3f} kg", piece)
    yield hand.about(5.0)
    yield from _bring_back(hand, piece, checkpoint)


def correct(hand: Hand, piece: str, checkpoint: str) -> Activity:
    """Correct the last mass of a checkpoint to what it should have been."""
    yield hand.about(20.0)
    key = hand.last_weighing[piece, checkpoint]
    answer = hand.answers.get(key)
    if answer is None:
        hand.tell(f"finds nothing to correct at {checkpoint}", piece)
        return
    body = _typed(hand, piece, checkpoint, 0.0)
    hand.say(Corrected(*answer, body, "typed wrongly"))
    hand.tell(f"corrects {checkpoint} to {body.net_mg / 1e6:.3f} kg", piece)


def _typed(hand: Hand, piece: str, checkpoint: str, error: float) -> Weighed:
    mass_g = load_of(hand, piece, checkpoint) + error
    shown_g = round(mass_g / _UNCONNECTED_STEP_G) * _UNCONNECTED_STEP_G
    return Weighed(piece, checkpoint, round(shown_g * 1000), 0, hand.now_ms)


def _read(hand: Hand, channel: str, scale: Scale) -> Generator[float, None, int | None]:
    """Wait until pitlogger's steady mass is what the display shows."""
    waited_s = 0.0
    while waited_s < PATIENCE_S:
        mass_mg = hand.steady_mg(channel)
        near_mg = 3000 * scale.interval_g + 0.02 * abs(_display_mg(scale))
        if mass_mg is not None and abs(mass_mg - _display_mg(scale)) <= near_mg:
            return mass_mg
        yield 0.5
        waited_s += 0.5
    return None


def _display_mg(scale: Scale) -> int:
    shown_g = round((scale.felt_g - scale.tare_g) / scale.interval_g) * scale.interval_g
    return round(shown_g * 1000)


def _fetch(hand: Hand, piece: str, checkpoint: str) -> Activity:
    """Take a piece from the pit to the scale."""
    if checkpoint in set(ByProduct) or hand.kitchen.piece(piece).pit is None:
        return
    hand.kitchen.lift(piece)
    yield hand.about(30.0)


def _bring_back(hand: Hand, piece: str, checkpoint: str) -> Activity:
    pit = hand.kitchen.piece(piece).pit
    if checkpoint in set(ByProduct) or pit is None:
        return
    hand.kitchen.put_on(piece, pit)
    yield hand.about(20.0)
