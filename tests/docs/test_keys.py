"""The reference of every key: made from the models, kept in docs/keys.md.

``python -m tests.docs.test_keys`` writes it anew.
"""

from __future__ import annotations

import inspect
import re
import typing
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path
from typing import Any

from pydantic import BaseModel
from pydantic_core import PydanticUndefined

from pitlogger.formats.cook_file import CookFile
from pitlogger.formats.job_file import JobFile
from pitlogger.formats.pad_file import PadFile

PAGE = Path(__file__).parents[2] / "docs" / "keys.md"
MODELS = (
    ("Cook file", "`pitlogger cook start`, `replay`; `pitlogger cook example`", CookFile),
    ("Pad file", "`pitlogger cook enter`; `pitlogger cook example --pad`", PadFile),
    ("Job file", "`pitlogger job`, `pitlogger price --job`; `pitlogger job example`", JobFile),
)
HEAD = """# Every key

Made from the models that read the files; a test keeps it equal to them. Unknown keys are errors.
Masses and temperatures carry their unit (`"13 lb 7 oz"`, `"203F"`), moments their offset from
UTC. The configuration's keys stand in `pitlogger config example`.
"""


def models_in(annotation: Any) -> Iterator[type[BaseModel]]:
    """Yield the models that an annotation holds."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for inner in typing.get_args(annotation):
        yield from models_in(inner)


def table(name: str, model: type[BaseModel], many: bool) -> Iterator[str]:
    """Yield the lines of a table and of those below it."""
    title = f"[[{name}]]" if many else f"[{name}]"
    about = " ".join((model.__doc__ or "").split("\n\n")[0].split())
    below: list[tuple[str, type[BaseModel], bool]] = []
    rows = []
    for field, info in model.model_fields.items():
        key = info.alias or field
        inner = next(models_in(info.annotation), None)
        if inner is not None:
            path = f"{name}.{key}" if name else key
            below.append((path, inner, typing.get_origin(info.annotation) in (tuple, list)))
            continue
        rows.append(f"| `{key}` | {kind(model, field)} | {default(info)} |")
    if name and rows:
        yield f"\n### `{title}`\n"
        if about and not about.startswith("!!!"):
            yield f"{about}\n"
        yield "| key | value | default |\n|---|---|---|"
        yield from rows
    for path, inner, is_many in below:
        yield from table(path, inner, is_many)


WORDS = {
    "str": "text", "int": "whole number", "float": "number", "bool": "true or false",
    "Decimal": "amount",
    "Positive": "number above zero",
    "CoreTarget": "temperature of a core",
    "Mass": "mass", "Moment": "moment", "Temperature": "temperature",
    "WrapAt": "temperature or `never`", "WrapId": "wrap", "CutId": "cut", "SiteId": "site",
    "StageId": "stage", "Every": "duration or `off`", "Thickness": "length", "Id": "id",
}  # fmt: skip


def kind(model: type[BaseModel], field: str) -> str:
    """Return in a word or two what a key takes, from how the model is written."""
    written = next(
        str(inspect.get_annotations(base)[field])
        for base in model.__mro__
        if field in inspect.get_annotations(base)
    )
    first = written.removesuffix(" | None")
    listed = re.fullmatch(r"tuple\[(.*), \.\.\.\]", first)
    if listed:
        return f"list of {WORDS.get(listed[1], listed[1].lower())}"
    if inner := re.match(r"Annotated\[(\w+)", first):
        first = inner[1]
    return WORDS.get(first, first.lower().replace("|", "\\|"))


def default(info: Any) -> str:
    if info.is_required():
        return "required"
    if info.default is PydanticUndefined or info.default in (None, "", ()):
        return ""
    return f"`{info.default}`"


def policies() -> Iterator[str]:
    """Yield the entries of the food-safety policy shipped as default, with their sources."""
    text = (files("pitlogger.safety") / "policies" / "retail-food-code.toml").read_text("utf-8")
    yield "\n## Policy file\n\n`pitlogger policy show`; entries of `retail-food-code`:\n"
    for name in re.findall(r"^\[\[?([\w.-]+)\]\]?", text, re.MULTILINE):
        yield f"- `{name}`"


def page() -> str:
    lines = [HEAD]
    for title, about, model in MODELS:
        lines.append(f"\n## {title}\n\nFor {about}.")
        lines += table("", model, many=False)
    lines += policies()
    return "\n".join(lines) + "\n"


def test_the_page_names_every_key_as_the_models_have_them() -> None:
    assert PAGE.read_text(encoding="utf-8") == page()


def test_keys_that_stood_nowhere_stand_there() -> None:
    told = PAGE.read_text(encoding="utf-8")
    for key in ("[[service]]", "`supplier`", "`price_per_kg`", "`share_pct`", "`water-pan`"):
        assert key in told, key


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
