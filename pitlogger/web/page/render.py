"""Rendering: templates to HTML, everything escaped."""

from __future__ import annotations

import secrets
from functools import cache
from typing import Any

from jinja2 import Environment, PackageLoader

from pitlogger.views import words
from pitlogger.views.language import mark, tr
from pitlogger.views.pages import environment as of_plain_texts
from pitlogger.web.page.statics import load_statics

# Path, name in the navigation.
SCREENS: tuple[tuple[str, str], ...] = (
    ("/", mark("Pit")),
    ("/weigh", mark("Weigh")),
    ("/temp", mark("Temp")),
    ("/alarms", mark("Alarms")),
    ("/food", mark("Food log")),
)
MORE: tuple[tuple[str, str], ...] = (
    ("/plan", mark("Plan")),
    ("/job", mark("Jobs")),
    ("/weights", mark("Weights")),
    ("/cooks", mark("Past cooks")),
    ("/turn-in", mark("Turn in")),
    ("/print", mark("Print")),
    ("/settings", mark("Set up")),
)
# Set up: what each group holds.
GROUPS: tuple[tuple[str, tuple[tuple[str, str], ...]], ...] = (
    (
        mark("This cook"),
        (
            ("/begin", mark("Begin a cook")),
            ("/probes", mark("Which probe is which")),
            ("/weights", mark("Weights")),
            ("/turn-in", mark("Turn in")),
        ),
    ),
    (
        mark("Before and after"),
        (
            ("/plan", mark("Plan: how much, when, what to charge")),
            ("/job", mark("Jobs: from the enquiry to the invoice")),
            ("/cooks", mark("Past cooks")),
            ("/print", mark("Print")),
        ),
    ),
    (
        mark("Pits, probes, scales; people and phones"),
        (
            ("/first", mark("First steps of a new node")),
            ("/settings", mark("Settings")),
            ("/heard", mark("Who is told, and a test of each way")),
            ("/checks", mark("Check a probe or a scale")),
            ("/uplink", mark("Several nodes: join a hub, let others join")),
        ),
    ),
)
# Screens a form may lead back to.
BACK: tuple[str, ...] = ("/probes", "/cook", "/begin", "/more", "/checks", "/heard", "/first")


@cache
def environment() -> Environment:
    """Return the template environment, made once."""
    made = of_plain_texts(PackageLoader("pitlogger.web", "templates"))
    made.globals.update(
        static=lambda name: load_statics().url(name),
        new_key=lambda: secrets.token_urlsafe(12), cut_name=words.cut,
    )  # fmt: skip
    return made


def render(template: str, **values: Any) -> str:
    """Return a template filled in."""
    return (
        environment()
        .get_template(template)
        .render(screens=_named(SCREENS), more=_named(MORE), **values)
    )


def _named(screens: tuple[tuple[str, str], ...]) -> list[tuple[str, str]]:
    return [(path, tr(name)) for path, name in screens]


def groups() -> list[tuple[str, list[tuple[str, str]]]]:
    """Return what Set up holds, in the language people read."""
    return [(tr(heading), _named(screens)) for heading, screens in GROUPS]
