"""Rendering: templates to HTML, everything escaped."""

from __future__ import annotations

import secrets
from functools import cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from pitlogger.web.page.statics import load_statics

# Path, name in the navigation, template.
SCREENS: tuple[tuple[str, str], ...] = (
    ("/", "Pit"),
    ("/weigh", "Weigh"),
    ("/weights", "Weights"),
    ("/alarms", "Alarms"),
)
MORE: tuple[tuple[str, str], ...] = (
    ("/plan", "Plan"),
    ("/cooks", "Past cooks"),
    ("/food", "Food log"),
    ("/print", "Print"),
    ("/turn-in", "Turn in"),
    ("/settings", "Settings"),
)


@cache
def environment() -> Environment:
    """Return the template environment, made once."""
    made = Environment(
        loader=PackageLoader("pitlogger.web", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals.update(
        static=load_statics().url, new_key=lambda: secrets.token_urlsafe(12), screens=SCREENS,
        more=MORE,
    )  # fmt: skip
    return made


def render(template: str, **values: Any) -> str:
    """Return a template filled in."""
    return environment().get_template(template).render(**values)
