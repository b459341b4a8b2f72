"""What the policy that comes with pitlogger says of a cut, for planning."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files
from typing import Any


@cache
def _targets() -> dict[str, dict[str, Any]]:
    text = (files("pitlogger.rules") / "policy" / "targets.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def cut_policy(cut: str) -> dict[str, Any]:
    """Return the cut's table of ``rules/policy/targets.toml``, as written; empty without one."""
    return _targets().get(cut, {})
