"""The plain words of ``words.toml``: what each id is called on the page, in commands, on paper.

They are English; ``stage``, ``checkpoint`` and the like return a word in the language spoken.
"""

from __future__ import annotations

import tomllib
from importlib.resources import files
from typing import NamedTuple

from pitlogger.views.language import tr


class Word(NamedTuple):
    """A name; a short form where there is little room; and what the key says that does it."""

    name: str
    short: str = ""
    act: str = ""


_TABLES = tomllib.loads((files("pitlogger.views") / "words.toml").read_text(encoding="utf-8"))
STAGES, CHECKPOINTS = (
    {of: Word(**word) for of, word in _TABLES[table].items()} for table in ("stages", "checkpoints")
)
CUTS: dict[str, str] = _TABLES["cuts"]
SITES: dict[str, str] = _TABLES["sites"]
ALERTS: dict[str, str] = _TABLES["alerts"]
QUALITIES: dict[str, str] = _TABLES["qualities"]
STATES: dict[str, str] = _TABLES["states"]
TARGETS: dict[str, str] = _TABLES["targets"]
PRIORITIES: dict[str, str] = _TABLES["priorities"]
CHECKS: dict[str, str] = _TABLES["checks"]
FACTORS: dict[str, str] = _TABLES["factors"]
ALERT_ACTS: dict[str, str] = _TABLES["alert-acts"]


def became(disposition: str, reason: str) -> str:
    """Return what became of food, with the reason where it was kept."""
    return f"{disposition} ({reason})" if reason else disposition


def stage(of: str) -> str:
    """Return what a stage is called."""
    return tr(STAGES[of].name)


def stage_act(of: str) -> str:
    """Return what the key says that sets a stage."""
    word = STAGES[of]
    return tr(word.act) if word.act else capital(tr(word.name))


def stage_flag(of: str) -> str:
    """Return a stage in the little room that a chart has."""
    return tr(STAGES[of].short or STAGES[of].name)


def checkpoint(of: str) -> str:
    """Return what a weighing is called."""
    return tr(CHECKPOINTS[of].name) if of in CHECKPOINTS else of


def checkpoint_flag(of: str) -> str:
    """Return a weighing in the little room of a step of the stair."""
    return tr(CHECKPOINTS[of].short or CHECKPOINTS[of].name) if of in CHECKPOINTS else of


def cause(of: str) -> str:
    """Return why mass was lost; causes that no weighing tells apart stay together."""
    return tr(" and ").join(tr(part) for part in of.replace("-", " ").split("+"))


def cut(of: str) -> str:
    """Return what a cut is called."""
    return tr(CUTS.get(of, of))


def site(of: str) -> str:
    """Return what a place is called."""
    return tr(SITES[of])


def alert(kind: str) -> str:
    """Return the title of a kind of alert."""
    return tr(ALERTS.get(kind, kind))


def alert_named(key: str) -> str:
    """Return an alert of a ``kind/subject`` by its title and subject."""
    kind, _, subject = key.partition("/")
    return alert(kind) if subject in ("", "node") else f"{alert(kind)}, {subject}"


def quality(of: str) -> str:
    """Return what is wrong with a reading."""
    return tr(QUALITIES[of])


def state(of: str) -> str:
    """Return how an alert stands."""
    return tr(STATES[of])


def capital(text: str) -> str:
    """Return a text that begins with a capital letter."""
    return text[:1].upper() + text[1:]
