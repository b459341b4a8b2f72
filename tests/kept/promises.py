"""What the API promises, a line each, drawn from its description."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any


def promises(document: dict[str, Any]) -> list[str]:
    """Return operations, answers, fields of schemas and what is not required, sorted.

    A later release may add lines. ``optional`` holds of what is handed in: a field that a caller
    may leave out today may be left out tomorrow.
    """
    return sorted({*_operations(document), *_schemas(document)})


def _operations(document: dict[str, Any]) -> Iterator[str]:
    for path, operations in document["paths"].items():
        for method, operation in operations.items():
            yield f"{method} {path}"
            for parameter in operation.get("parameters", []):
                need = "required" if parameter.get("required") else "optional"
                yield f"{method} {path} takes {parameter['in']} {parameter['name']} {need}"
            for status in operation["responses"]:
                if status < "300":
                    yield f"{method} {path} answers {status}"


def _schemas(document: dict[str, Any]) -> Iterator[str]:
    for name, schema in document["components"]["schemas"].items():
        required = set(schema.get("required", ()))
        for field in schema.get("properties", {}):
            yield f"{name}.{field}"
            if field not in required:
                yield f"{name}.{field} optional"
        for word in schema.get("enum", ()):
            yield f"{name} knows {word}"
