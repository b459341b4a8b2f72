"""Colours of the page: enough contrast, and lines told apart by every kind of eye.

Contrast: WCAG 2.2, 1.4.6 (7:1 for text) and 1.4.11 (3:1 for lines). Simulated colour vision:
Machado, Oliveira and Fernandes 2009, severity 1. Distance: CIE 1976.
"""

from __future__ import annotations

import itertools
import re

import numpy as np
import numpy.typing as npt
import pytest

from pitlogger.web.page.statics import load_statics

Triple = npt.NDArray[np.float64]
EYES = {
    "usual": np.eye(3),
    "protan": np.array([[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216],
                        [-0.003882, -0.048116, 1.051998]]),
    "deutan": np.array([[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413],
                        [-0.011820, 0.042940, 0.968881]]),
    "tritan": np.array([[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602],
                        [0.004733, 0.691367, 0.303900]]),
}  # fmt: skip
TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
WHITE = np.array([0.9505, 1.0, 1.089])
LINES = ("pit", "core-1", "core-2")


def palette(theme: str) -> dict[str, str]:
    """Return the colours of a theme by name."""
    text = load_statics().by_name["page.css"].plain.decode()
    light, _, dark = re.split("prefers-color-scheme: ?(dark)", text)
    found = dict(re.findall(r"--([\w-]+): ?(#[0-9a-f]{6})[;}]", light))
    if theme == "dark":
        found |= dict(re.findall(r"--([\w-]+): ?(#[0-9a-f]{6})[;}]", dark))
    return found


def linear(colour: str) -> Triple:
    part = np.array([int(colour[at : at + 2], 16) for at in (1, 3, 5)]) / 255
    return np.where(part <= 0.04045, part / 12.92, ((part + 0.055) / 1.055) ** 2.4)


def contrast(one: str, other: str) -> float:
    """Return the contrast ratio of WCAG 2."""
    first, second = (float(TO_XYZ[1] @ linear(colour)) for colour in (one, other))
    return (max(first, second) + 0.05) / (min(first, second) + 0.05)


def apart(one: str, other: str) -> float:
    """Return the least distance of two colours over all kinds of eye."""
    return min(
        float(np.linalg.norm(_lab(eye @ linear(one)) - _lab(eye @ linear(other))))
        for eye in EYES.values()
    )


def _lab(rgb: Triple) -> Triple:
    part = TO_XYZ @ np.clip(rgb, 0, 1) / WHITE
    x, y, z = np.where(part > 0.008856, np.cbrt(part), 7.787 * part + 16 / 116)
    return np.array([116 * y - 16, 500 * (x - y), 200 * (y - z)])


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_text_has_seven_to_one(theme: str) -> None:
    colours = palette(theme)
    for ink in ("ink", "soft", "alarm"):
        assert contrast(colours[ink], colours["paper"]) >= 7
    assert contrast(colours["soft"], colours["tint"]) >= 7
    assert contrast(colours["on-alarm"], colours["alarm-ground"]) >= 7


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_lines_have_three_to_one(theme: str) -> None:
    colours = palette(theme)
    for line in LINES:
        assert contrast(colours[line], colours["paper"]) >= 3


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_lines_are_told_apart_by_every_kind_of_eye(theme: str) -> None:
    colours = palette(theme)
    for one, other in itertools.combinations(LINES, 2):
        assert apart(colours[one], colours[other]) >= 30
    for line in LINES:
        assert apart(colours[line], colours["alarm"]) >= 25
