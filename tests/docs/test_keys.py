"""The reference of every key: made from the models, kept in docs/keys.md.

``python -m tests.docs.test_keys`` writes it anew.
"""

from __future__ import annotations

import inspect
import re
import tomllib
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
from pitlogger.formats.policy_file import AlertTable, CutTable, TimerTable, WorkTable
from pitlogger.model.cooks import CUTS, TIMERS
from pitlogger.model.kitchen import WORKS
from pitlogger.model.quantities import show_duration
from pitlogger.safety.policy import CHOICES, DEFAULT, LIMITS, Mark, PolicyHeader

PAGE = Path(__file__).parents[2] / "docs" / "keys.md"
MODELS = (
    ("Cook file", "`pitlogger cook start`, `replay`; `pitlogger cook example`", CookFile),
    ("Pad file", "`pitlogger cook enter`; `pitlogger cook example --pad`", PadFile),
    ("Job file", "`pitlogger job`; `pitlogger job example`", JobFile),
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
        what = kind(model, field)
        rows.append(f"| `{key}` | {what} | {default(info, what == 'duration')} |")
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
    "MassFromZero": "mass",
    "Positive": "number above zero",
    "CoreTarget": "temperature of a core",
    "Line": "text", "Mass": "mass", "TemperatureStep": "step of temperature", "Moment": "moment",
    "Temperature": "temperature",
    "WrapAt": "temperature or `never`", "WrapId": "wrap", "CutId": "cut", "SiteId": "site",
    "StageId": "stage", "Every": "duration or `off`", "Thickness": "length", "Id": "id",
}  # fmt: skip


LIMIT_WORDS = {
    "Temperature": "temperature", "StepLimit": "step of temperature", "Duration": "duration",
    "Number": "number", "Choice": "text",
}  # fmt: skip


def kind(model: type[BaseModel], field: str) -> str:
    """Return in a word or two what a key takes, from how the model is written."""
    written = next(
        str(inspect.get_annotations(base)[field])
        for base in model.__mro__
        if field in inspect.get_annotations(base)
    )
    first = re.sub(r"\b[a-z_]+\.(?=[A-Z])", "", written).removesuffix(" | None")
    listed = re.fullmatch(r"tuple\[(.*), \.\.\.\]", first)
    if listed and not listed[1].startswith("Literal["):
        return f"list of {WORDS.get(listed[1], listed[1].lower())}"
    if inner := re.match(r"Annotated\[(\w+)", first):
        first = inner[1]
    if "Literal[" in first:
        return " or ".join(f"`{one}`" for one in re.findall(r'"([^"]+)"', first.replace("'", '"')))
    return WORDS.get(first, first.lower().replace("|", "\\|"))


def default(info: Any, is_time: bool) -> str:
    if info.is_required():
        return "required"
    if info.default is PydanticUndefined or info.default in (None, "", ()):
        return ""
    if is_time and isinstance(info.default, int):
        return f"`{show_duration(info.default)}`"
    return f"`{info.default}`"


def policies() -> Iterator[str]:
    """Yield the tables of policy files: of food safety, and of alerts, targets, timers, times."""
    yield (
        "\n## Food-safety policy file\n\nFor `[policy] file`; `pitlogger policy show`. A table for"
        " each limit, each with a `source`, perhaps `mark` (how well that is known: "
        f"{', '.join(f'`{mark}`' for mark in typing.get_args(Mark))}) and `note`. With"
        f' `base = "{DEFAULT}"` only those that differ.\n'
    )
    yield from table("policy", PolicyHeader, many=False)
    yield "\n| table | `value` | in `retail-food-code` |\n|---|---|---|"
    shipped = tomllib.loads(
        (files("pitlogger.safety") / "policies" / f"{DEFAULT}.toml").read_text("utf-8")
    )
    for name, limit in LIMITS.items():
        known = CHOICES.get(name)
        what = " or ".join(f"`{one}`" for one in known) if known else LIMIT_WORDS[limit.__name__]
        value = shipped.get(name, {}).get("value")
        yield f"| `[{name}]` | {what} | {'' if value is None else f'`{value}`'} |"
    yield (
        "\n## Rules policy files\n\nFor `[policy]` `alerts`, `targets`, `timers`, `kitchen`: only"
        " the keys that change.\n"
    )
    for name, names, model in (
        ("KIND", "alerts; the kinds stand in [alarms](alarms.md)", AlertTable),
        ("CUT", f"targets; cuts: {', '.join(f'`{cut}`' for cut in CUTS)}", CutTable),
        ("TIMER", f"timers: {', '.join(f'`{timer}`' for timer in TIMERS)}", TimerTable),
        ("WORK", f"kitchen; works: {', '.join(f'`{work}`' for work in WORKS)}", WorkTable),
    ):
        yield f"\nOf {names}."
        yield from table(name, model, many=False)


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
    for key in ("[[service]]", "`supplier`", "`price_per_kg`", "`share_pct`", "`water-pan`",
                "`[cooling_stage_1]`", "`shelf_max`", "`tender_check_at`"):  # fmt: skip
        assert key in told, key


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
