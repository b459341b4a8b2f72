"""What every route may answer beside its success, as the API's description has it."""

from __future__ import annotations

from typing import Any

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi
from fastapi.responses import JSONResponse
from pydantic import BaseModel

from pitlogger.errors import (
    DaemonUnreachableError,
    DecodeError,
    DeliveryError,
    HubFullError,
    PitloggerError,
    RefusedError,
    StoreError,
    TransportError,
    UsageError,
)
from pitlogger.questions import QuestionError


class Fault(BaseModel):
    """Why something was not done, in words; nothing was changed."""

    error: str


class Asked(BaseModel):
    """What has to be answered first; the same again with ``confirm`` set to an option is done."""

    question: str
    options: list[str]
    confirm: str


_WHY = {
    408: "The body did not come in time",
    431: "The head is too large",
    400: "It cannot be used: a value, a unit or a name is wrong",
    401: "No key: pair a phone, or send a program's bearer token",
    403: "The role does not allow it, or it did not come from the page itself",
    404: "There is no such thing",
    405: "Not this method",
    409: "Refused as things stand",
    411: "The body's length is missing",
    413: "The body is too large",
    415: "The body is not JSON",
    421: "The Host is not one of the node's names",
    429: "Too many requests",
    500: "It failed",
    502: "What was asked on did not answer: a device, a way of being told, a hub",
    503: "Not now: the record cannot be written or read",
}


# Whose fault it is: what asks, how things stand, who is asked on, or what holds the record.
_STATUS: tuple[tuple[type[PitloggerError], int], ...] = (
    (UsageError, 400), (RefusedError, 409), (TransportError, 502), (DeliveryError, 502),
    (DecodeError, 502), (StoreError, 503), (HubFullError, 503), (DaemonUnreachableError, 503),
)  # fmt: skip


def status_of(fault: PitloggerError) -> int:
    """Return the HTTP status that a fault is answered with; 500 is a fault of our own."""
    return next((status for kind, status in _STATUS if isinstance(fault, kind)), 500)


def error_answer(status: int, message: str) -> JSONResponse:
    """Return an error as the API gives it."""
    return JSONResponse({"error": message}, status_code=status)


def question_answer(fault: QuestionError) -> JSONResponse:
    """Return a question as the API asks it."""
    return JSONResponse(fault.asked.document(), status_code=409)


def _responses() -> dict[str, Any]:
    """Return what any operation may answer beside its success.

    Described here once and not with each route: the framework would build a validator for each
    status of each route, 1 200 in all, which took 7 MB and a sixth of the start.
    """
    fault, asked = ({"$ref": f"#/components/schemas/{name}"} for name in ("Fault", "Asked"))
    either = {"anyOf": [fault, asked], "title": "Response 409"}
    told = {
        str(status): {
            "description": why + ", or asked about first" * (status == 409),
            "content": {"application/json": {"schema": either if status == 409 else fault}},
        }
        for status, why in _WHY.items()
    }
    return {
        "202": {"description": "Kept in memory and not yet on disk: ask again with the same key"},
        **told,
    }


def describe(app: FastAPI) -> dict[str, Any]:
    """Return the API's description: without 422, which our answers to bad bodies are not."""
    if app.openapi_schema is None:
        made = get_openapi(title=app.title, version=app.version, routes=app.routes)
        responses = _responses()
        for path in made["paths"].values():
            for operation in path.values():
                operation["responses"].pop("422", None)
                operation["responses"] = responses | operation["responses"]
        schemas = made["components"]["schemas"]
        for unused in ("HTTPValidationError", "ValidationError"):
            schemas.pop(unused, None)
        schemas |= {model.__name__: model.model_json_schema() for model in (Fault, Asked)}
        made["components"]["securitySchemes"] = {
            "program": {"type": "http", "scheme": "bearer"},
            "phone": {"type": "apiKey", "in": "cookie", "name": "pitlogger"},
        }
        made["security"] = [{"program": []}, {"phone": []}]
        app.openapi_schema = made
    return app.openapi_schema
