"""What read models have in common. Keys end in their unit; moments are RFC 3339 UTC."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, WithJsonSchema

from pitlogger.clock import rfc3339

Moment = Annotated[str, WithJsonSchema({"type": "string", "format": "date-time"})]


class View(BaseModel):
    """A read model: made once, shown by the page, the API, the commands and MQTT."""

    model_config = ConfigDict(
        frozen=True, validate_by_name=True, validate_by_alias=True, defer_build=True
    )

    def document(self, leave_out: set[str] | None = None) -> dict[str, Any]:
        """Return it as JSON values, under the keys of the API."""
        return self.model_dump(mode="json", by_alias=True, exclude=leave_out)


def moment(t_ms: int | None, offset_ms: int = 0) -> str | None:
    """Return a moment of engine time in UTC, ``None`` for none."""
    return None if t_ms is None else rfc3339(t_ms + offset_ms)
