"""What is printed for a person to copy is current and equal to the folder ``config``."""

from pathlib import Path

import pytest
from pydantic import BaseModel

from pitlogger.cli.installation.config import text
from pitlogger.config import Config, parse_config

ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize("name", ["example", "simulated"])
def test_the_folder_holds_the_same_text(name: str) -> None:
    assert (ROOT / "config" / f"{name}.toml").read_text(encoding="utf-8") == text(name)


@pytest.mark.parametrize("name", ["example", "simulated"])
def test_the_text_is_a_configuration(name: str) -> None:
    assert parse_config(text(name)).node.name


def keys(model: type[BaseModel]) -> set[str]:
    """Return the names of all keys a configuration may hold, tables included."""
    found: set[str] = set()
    for name, field in model.model_fields.items():
        found.add(name)
        inner = [field.annotation, *getattr(field.annotation, "__args__", ())]
        for part in inner:
            if isinstance(part, type) and issubclass(part, BaseModel):
                found |= keys(part)
    return found


@pytest.mark.parametrize("key", sorted(keys(Config)))
def test_the_example_names_every_key(key: str) -> None:
    assert key in text("example")
