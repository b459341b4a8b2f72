"""A hostile value in each field of each operation: an answer in words, never a fault of ours.

Beside ``test_schema.py``, which makes requests that fit the description: these begin with one that
may be carried out and spoil one field of it.
"""

from __future__ import annotations

import copy
import json
import os
import random
from collections.abc import Iterator
from typing import Any
from urllib.parse import quote

import pytest

from tests.web.conftest import Node

TIMES = int(os.environ.get("HOSTILE_TIMES", "2"))  # values a field
TEXTS = (
    '"\\ud800"', '"a\\u0000b"', '"\\u202e\\u2066x"', '""', '" "', "null", "true", "[]", "{}",
    '[["\\ud83d"]]', '{"a":{"b":[]}}', "-1", "0", "1e308", "1e400", "NaN", "-Infinity", "9" * 30,
    "1" + "0" * 400, '"1e400 kg"', '"nan F"', '"-0 kg"', '"99999999999999999999 lb"', '"1/0 lb"',
    '"0001-01-01T00:00:00+14:00"', '"9999-12-31T23:59:59-14:00"', '"2026-01-01T00:00:00+99:99"',
    '"٣ kg"', '"1²"', '"../../etc"', '"%s%n"', '"k7qm-42"', '"brisket-1"', '"1e999999999 kg"',
    f'"{"9" * 5000}"', f'"{"x" * 3000}"', "9223372036854775808", "[null]", '"\\u0085\\u2028"',
)  # fmt: skip
# What a field of this name may hold.
GOOD = {
    "piece": "brisket-1", "pieces": ["brisket-1", "b"], "stage": "wrapped", "mass": "4.2 kg",
    "checkpoint": "trimmed", "value": "150F", "channel": "pit", "cut": "brisket-packer",
    "at": "2026-09-01T10:00:00Z", "site": "pit", "entry": "1", "id": "b",
    "toml": '[cook]\nname="q"\n[[piece]]\nid="z"\ncut="other"\n',
}  # fmt: skip
MARK = "the spoiled field"
# It never ends; it listens for devices; it would send messages; it would take our own key away.
LEFT_OUT = ("/stream", "/reach", "/backup", "/remove")


class Description:
    """The API's description, and requests that fit it."""

    def __init__(self, document: dict[str, Any]) -> None:
        self.paths = document["paths"]
        self._schemas = document["components"]["schemas"]

    def whole(self, schema: dict[str, Any]) -> dict[str, Any]:
        """Return a schema without references, of several the first."""
        while "$ref" in schema:
            schema = self._schemas[schema["$ref"].rsplit("/", 1)[1]]
        for word in ("anyOf", "oneOf", "allOf"):
            if word in schema:
                return self.whole(schema[word][0])
        return schema

    def fitting(self, schema: dict[str, Any], name: str = "") -> Any:
        """Return a value with every field that a schema has."""
        schema = self.whole(schema)
        if "enum" in schema or "const" in schema:
            return schema.get("enum", [schema.get("const")])[0]
        kind = schema.get("type")
        if name in GOOD and kind in ("string", "array", None):
            return copy.deepcopy(GOOD[name])
        if kind == "object":
            fields = schema.get("properties", {})
            return {field: self.fitting(of, field) for field, of in fields.items()}
        if kind == "array":
            return [self.fitting(schema.get("items", {}), name)]
        return {"integer": 1, "number": 1.5, "boolean": False, "null": None}.get(str(kind), "x")


def places(value: Any) -> Iterator[tuple[Any, Any]]:
    """Yield each field of a value, as what holds it and its name or number there."""
    inner = value.items() if isinstance(value, dict) else enumerate(value)
    for name, held in list(inner):
        yield value, name
        if isinstance(held, dict | list):
            yield from places(held)


def spoiled(body: Any, chance: random.Random) -> Iterator[bytes]:
    """Yield the body as JSON with each field in turn replaced by something hostile."""
    for holder, name in places(body):
        before, holder[name] = holder[name], MARK
        text = json.dumps(body)
        for bad in chance.sample(TEXTS, TIMES):
            yield text.replace(f'"{MARK}"', bad).encode()
        holder[name] = before


@pytest.mark.slow
async def test_no_field_of_any_operation_brings_a_fault_of_ours(node: Node) -> None:
    await node.begin()
    described = Description((await node.local.get("/api/v1/openapi.json")).json())
    chance, count, faults = random.Random(7), 0, []
    for path, operations in described.paths.items():
        for method, operation in operations.items():
            if path.endswith(LEFT_OUT):
                continue
            content = operation.get("requestBody", {}).get("content", {})
            schema = content.get("application/json", {}).get("schema")
            bodies = [b""] * 8 if schema is None else spoiled(described.fitting(schema), chance)
            for body in bodies:
                filled, params = path, {}
                for given in operation.get("parameters", ()):
                    text = str(json.loads(chance.choice(TEXTS)))[:200]
                    text = text.encode("utf-8", "replace").decode()
                    if given["in"] == "path":
                        good = "brisket-1" if body else text
                        name = f"{{{given['name']}}}"
                        filled = filled.replace(name, quote(good, safe="") or "x")
                    elif chance.random() < 0.5:
                        params[given["name"]] = text
                headers = {"Content-Type": "application/json"} if schema is not None else {}
                answer = await node.local.request(
                    method, filled, params=params, content=body or None, headers=headers
                )
                count += 1
                if answer.status_code >= 500 and answer.status_code != 503:
                    faults.append((method, filled, params, body, answer.text))
    assert count > 500
    assert faults == []
