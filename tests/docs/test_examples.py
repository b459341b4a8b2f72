"""The examples that commands print are read by the models, and name every key they know."""

from __future__ import annotations

import re
import tomllib
from datetime import datetime
from importlib.resources import files
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from pydantic import BaseModel

from pitlogger.formats.cook_file import CookFile, parse_cook
from pitlogger.formats.job_file import JobFile, parse_job
from pitlogger.formats.pad_file import PadEntry, load_pad
from tests.docs.test_keys import models_in

ALTERNATIVES = {"price_per_lb", "wrap_on", "service", "lead"}


def text(name: str) -> str:
    return (files("pitlogger.texts") / name).read_text(encoding="utf-8")


def keys(model: type[BaseModel]) -> set[str]:
    return {field.alias or name for name, field in model.model_fields.items()}


def test_the_cook_example_is_a_cook_file() -> None:
    cook = parse_cook(text("cook.toml"))
    assert [piece.id for piece in cook.pieces] == ["brisket-1"]
    given = tomllib.loads(text("cook.toml"))
    assert set(given) <= keys(CookFile)
    assert keys(CookFile) - set(given) <= ALTERNATIVES


def test_the_pad_example_is_a_pad_file(tmp_path: Path) -> None:
    zone = ZoneInfo("America/Chicago")
    file = tmp_path / "pad.toml"
    file.write_text(text("pad.toml"), encoding="utf-8")
    now = datetime(2026, 9, 20, tzinfo=zone)
    cook = load_pad(file, now, lambda text, found: pytest.fail(text), zone)
    assert len(cook.bodies) >= 9
    assert {"piece", "checkpoint", "stage", "temp", "note"} <= keys(PadEntry)


def test_the_job_example_is_a_job_file_and_names_every_key() -> None:
    example = text("job.toml")
    parse_job(example)
    parse_job(after(example))
    named = set(re.findall(r"^(?:# )?(\w+) = ", example, re.MULTILINE))
    named |= set(re.findall(r"\[([a-z_]+)\]", example)) | {"from_mass"}
    for model in all_models(JobFile) | {JobFile}:
        assert keys(model) <= named, model.__name__


def after(example: str) -> str:
    """Return the example as after the job, with what came of it."""
    head, mark, actual = example.partition("# [actual]")
    return head + re.sub(r"^# ", "", mark + actual, flags=re.MULTILINE)


def all_models(model: type[BaseModel]) -> set[type[BaseModel]]:
    inner = {one for info in model.model_fields.values() for one in models_in(info.annotation)}
    for one in tuple(inner):
        inner |= all_models(one)
    return inner
