"""Messages spoken aloud by espeak-ng on this machine: no network, no account.

Source: espeak-ng manual page (``-a`` loudness 0 to 200, ``-v`` voice, ``-s`` words a minute,
``--stdin``). It ends with code 0 where there is no sound card, and says so.
"""

from __future__ import annotations

import re
import shutil

from pitlogger.config_notify import SpeechTable
from pitlogger.errors import DeliveryError
from pitlogger.model.alerts import Priority
from pitlogger.notify.message import Message
from pitlogger.notify.ways.child import run_child
from pitlogger.views.language import language, mark, tr

PROGRAM = "espeak-ng"
INSTALL = "Install it: sudo apt-get install espeak-ng"
# Loudness of espeak-ng, 100 being its own; a smoker stands outdoors (ours).
LOUDNESS = {Priority.LOW: 80, Priority.MEDIUM: 130, Priority.HIGH: 200}
_WORDS_A_MINUTE = "150"
_LONGEST = 400  # characters; about half a minute
_TIMEOUT_S = 60.0
_DEGREES = mark("{value} degrees")
_TEMPERATURE = re.compile(r"(-?\d+(?:[.,]\d+)?) [FC]\b")
_HYPHEN = re.compile(r"(?<=\w)[-/](?=\w)")


def spoken(message: Message) -> str:
    """Return what is said of a message: what it is about, and of each alert what to do."""
    parts = [message.title]
    for block in message.text.split("\n\n"):
        lines = block.splitlines()
        parts += lines[:1] if len(lines) < 2 else [lines[0], lines[-1]]
    text = ". ".join(part.rstrip(".") for part in parts if part)
    text = _TEMPERATURE.sub(lambda found: tr(_DEGREES, value=found[1]), text)
    return _HYPHEN.sub(" ", text)[:_LONGEST]


def missing() -> str:
    """Return what keeps this machine from speaking, empty where nothing is known to."""
    return "" if shutil.which(PROGRAM) else f"{PROGRAM} is not installed"


class Speech:
    """Speaks in the language of the node, louder the graver it is."""

    def __init__(self, table: SpeechTable) -> None:
        self._voice = table.voice or language().partition("-")[0]
        self._loudness = table.loudness_pct / 100

    async def send(self, message: Message) -> str:
        """Speak a message and return once it was said; a heartbeat is not spoken."""
        if message.kind == "alive":
            return "a heartbeat is not spoken"
        loudness = min(200, round(LOUDNESS[message.priority] * self._loudness))
        argv = (PROGRAM, "-a", str(loudness), "-s", _WORDS_A_MINUTE, "-v", self._voice, "--stdin")
        try:
            code, said = await run_child(argv, spoken(message).encode(), _TIMEOUT_S)
        except TimeoutError:
            raise DeliveryError(
                f"{PROGRAM} did not end within {_TIMEOUT_S:g} s and was stopped"
            ) from None
        except OSError as fault:
            raise DeliveryError(
                f"{PROGRAM} cannot be run ({fault.strerror})", remedy=INSTALL, for_good=True
            ) from None
        if code:
            raise DeliveryError(
                f"{PROGRAM} ended with code {code}: {said or 'it said nothing'}",
                remedy=f"See the voices it has: {PROGRAM} --voices",
                for_good=True,
            )
        if "error" in said.casefold():
            raise DeliveryError(
                f"{PROGRAM} could not be heard: {said.splitlines()[-1]}",
                remedy="Connect a loudspeaker, and let the service use it: group audio",
            )
        return "it was spoken"
