"""Rendering: templates to HTML, everything escaped."""

from __future__ import annotations

import secrets
from functools import cache
from typing import Any

from jinja2 import Environment, PackageLoader

from pitlogger.views.language import mark, tr
from pitlogger.views.pages import environment as of_plain_texts
from pitlogger.web.page.statics import load_statics

# Path, name in the navigation, template.
SCREENS: tuple[tuple[str, str], ...] = (
    ("/", mark("Pit")),
    ("/weigh", mark("Weigh")),
    ("/weights", mark("Weights")),
    ("/alarms", mark("Alarms")),
)
MORE: tuple[tuple[str, str], ...] = (
    ("/plan", mark("Plan")),
    ("/cooks", mark("Past cooks")),
    ("/food", mark("Food log")),
    ("/print", mark("Print")),
    ("/turn-in", mark("Turn in")),
    ("/settings", mark("Settings")),
)


@cache
def environment() -> Environment:
    """Return the template environment, made once."""
    made = of_plain_texts(PackageLoader("pitlogger.web", "templates"))
    made.globals.update(
        static=load_statics().url, new_key=lambda: secrets.token_urlsafe(12),
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
