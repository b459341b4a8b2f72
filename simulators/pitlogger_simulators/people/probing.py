"""Probes: put in, left out, swapped, moved, and what of it pitlogger is told."""

from __future__ import annotations

from pitlogger.model.cooks import Channel
from pitlogger.model.journal import ChannelAssigned, ProbeMoved
from pitlogger.model.quantities import Quantity
from pitlogger.model.readings import Site
from pitlogger_simulators.people.hand import Hand
from pitlogger_simulators.people.kitchen import ROOM, Spot
from pitlogger_simulators.people.verbs import Activity


def insert_all(hand: Hand, piece: str, forgotten: tuple[str, ...]) -> None:
    """Stick in each probe that belongs to a piece, but for those forgotten."""
    for channel, home in hand.kitchen.homes.items():
        if home.subject == piece and channel not in forgotten:
            hand.kitchen.spots[channel] = home


def probe_in(hand: Hand, channel: str) -> Activity:
    """Stick a probe where it belongs, without a word."""
    yield hand.about(40.0)
    hand.kitchen.spots[channel] = hand.kitchen.homes[channel]
    hand.tell(f"puts {channel} where it belongs")


def probe_out(hand: Hand, channel: str) -> Activity:
    """Pull a probe out, without a word."""
    yield hand.about(15.0)
    hand.kitchen.spots[channel] = ROOM
    hand.tell(f"pulls {channel} out")


def probes_away(hand: Hand, piece: str) -> Activity:
    """Pull all probes out of a piece and say that they sit nowhere now."""
    yield hand.about(25.0)
    for channel, spot in hand.kitchen.spots.items():
        if spot.subject == piece and spot.kind in ("core", "surface"):
            hand.kitchen.spots[channel] = ROOM
            _assign(hand, Channel(channel, Site.NONE))
    hand.tell("pulls its probes out", piece)


def probe_to(hand: Hand, channel: str, piece: str) -> Activity:
    """Stick a probe into another piece and say so."""
    yield hand.about(40.0)
    hand.kitchen.piece(piece)
    hand.kitchen.spots[channel] = Spot("core", piece)
    _assign(hand, Channel(channel, Site.CORE, piece))
    hand.tell(f"moves {channel}", piece)


def probe_moved(hand: Hand, channel: str) -> Activity:
    """Move a probe to a better place in its piece and say so."""
    yield hand.about(40.0)
    hand.kitchen.spots[channel] = hand.kitchen.homes[channel]
    hand.say(ProbeMoved(channel))
    hand.tell(f"moves {channel} within its piece")


def swap(hand: Hand, first: str, second: str) -> Activity:
    """Swap two probes by mistake: nobody is told."""
    yield hand.about(60.0)
    spots = hand.kitchen.spots
    spots[first], spots[second] = spots[second], spots[first]
    hand.tell(f"swaps {first} and {second}")


def _assign(hand: Hand, channel: Channel) -> None:
    placed = Channel(channel.id, channel.site, channel.piece, Quantity.TEMPERATURE)
    hand.say(ChannelAssigned(placed))
