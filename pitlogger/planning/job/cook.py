"""The cook of a job: what it puts on the pit, and the job that knows its cook."""

from __future__ import annotations

from typing import Any

from pitlogger.formats.job_file import JobFile
from pitlogger.formats.toml_text import toml_document
from pitlogger.model.cooks import short_name
from pitlogger.planning.job.answer import JobAnswer


def cook_file(source: JobFile, answer: JobAnswer) -> str:
    """Return the cook file of a job: its guests, its hour, a piece for each that is bought.

    What arrived counts as weighed: pieces beyond those have no mass yet.
    """
    cook: dict[str, Any] = {"name": source.job.name or answer.job}
    told = [*(sitting.at for sitting in source.sitting), source.job.serve_at]
    if served := [at for at in told if at is not None]:
        cook["serve_at"] = min(served)
    cook["guests"] = answer.guests + answer.children
    pieces: list[dict[str, Any]] = []
    counts: dict[str, int] = {}
    for meat, dish in zip(source.meat, answer.dishes, strict=True):
        stem = short_name(dish.cut)
        for number in range(max(dish.pieces, len(meat.arrived))):
            counts[stem] = counts.get(stem, 0) + 1
            piece = {"id": f"{stem}-{counts[stem]}", "cut": dish.cut}
            if number < len(meat.arrived):
                piece["mass"] = f"{meat.arrived[number] / 1000:g} g"
            for key in ("supplier", "grade"):
                if given := getattr(meat, key):
                    piece[key] = given
            pieces.append(piece)
    return toml_document({"cook": cook, "piece": pieces})


def with_cook(text: str, cook: str) -> str:
    """Return the text of a job that names a cook on record; comments and order stay."""
    import tomlkit  # for a moment at the start of a cook: not of every start of a node

    document = tomlkit.parse(text)
    job: Any = document["job"]
    named = [str(one) for one in (job.get("cook", ""), *job.get("cooks", ())) if one]
    if cook in named:
        return text
    if named:
        job["cooks"] = [*map(str, job.get("cooks", ())), cook]
    else:
        job["cook"] = cook
    return tomlkit.dumps(document)
