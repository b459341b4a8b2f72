"""The API's description is enough to write a client: each answer has its schema, down to fields."""

from __future__ import annotations

from typing import Any

import pytest
from fastapi.routing import APIRoute

from pitlogger.formats.journal_json import KINDS
from pitlogger.web.routes.devices import make_device_api
from pitlogger.web.routes.reading import make_api
from tests.web.conftest import Node

TEXT = {"/api/v1/export", "/api/v1/stream"}  # documents of their own, a line or an event each


async def described(node: Node) -> dict[str, Any]:
    found: dict[str, Any] = (await node.local.get("/api/v1/openapi.json")).json()
    return found


async def test_every_operation_names_what_it_answers(node: Node) -> None:
    document = await described(node)
    untyped = [
        f"{method} {path}"
        for path, operations in document["paths"].items()
        for method, operation in operations.items()
        if path not in TEXT and "#/components/schemas/" not in str(operation["responses"]["200"])
    ]
    assert untyped == []


async def test_no_schema_leaves_its_fields_open(node: Node) -> None:
    schemas = (await described(node))["components"]["schemas"]
    open_ones = {
        f"{name}.{field}"
        for name, schema in schemas.items()
        for field, kind in schema.get("properties", {}).items()
        if kind in ({}, {"title": field.title()}) or kind.get("additionalProperties") is True
    }
    # Journal bodies handed in are checked by kind, a job by its fields, with messages of their own.
    assert open_ones <= {"DatedBody.body", "EntryTable.body", "Standing.document"}


async def test_an_entry_is_described_by_its_kind(node: Node) -> None:
    schemas = (await described(node))["components"]["schemas"]
    head, bodies = schemas["EntryView"]["allOf"]
    assert set(bodies["discriminator"]["mapping"]) == set(KINDS)
    assert {"id", "run", "seq", "at", "by"} <= set(head["required"])


@pytest.mark.parametrize("path", ["status", "alerts", "night", "joined", "yield", "rules", "log"])
async def test_older_callers_find_their_keys(node: Node, path: str) -> None:
    await node.begin()
    answer = (await node.local.get(f"/api/v1/{path}")).json()
    expected = {
        "status": {"sentence", "now", "node", "run", "cook", "units", "channels", "pieces",
                   "alerts", "store"},
        "night": {"sentence", "checks", "batteries", "oldest_s", "never_heard", "morning",
                  "expected", "will_wake", "wakes_at", "standing", "store", "ring_test",
                  "heartbeat_s"},
        "joined": {"cook", "name", "from_ms", "to_ms", "running", "lines", "pieces", "alarms",
                   "forecasts"},
        "yield": {"cook", "pieces"},
        "rules": {"rules"},
        "log": {"cook", "sheets", "rows", "missing", "corrective", "checks", "entries", "head",
                "signed", "faults"},
    }.get(path)  # fmt: skip
    assert isinstance(answer, list) if expected is None else expected <= answer.keys()


async def test_every_operation_tells_how_it_refuses(node: Node) -> None:
    document = await described(node)
    for path, operations in document["paths"].items():
        for method, operation in operations.items():
            refused = operation["responses"]["400"]["content"]["application/json"]["schema"]
            assert refused == {"$ref": "#/components/schemas/Fault"}, f"{method} {path}"
            asked = operation["responses"]["409"]["content"]["application/json"]["schema"]
            assert len(asked["anyOf"]) == 2, f"{method} {path}"
    assert {"Fault", "Asked"} <= document["components"]["schemas"].keys()


async def test_refusals_cost_no_validator_a_route(node: Node) -> None:
    """Each would take 6 kB, and all of them a sixth of the start."""
    for api in (make_api(node.daemon), make_device_api(node.daemon)):
        routes = [route for route in api.routes if isinstance(route, APIRoute)]
        assert routes
        assert not any(route.response_fields for route in routes)
