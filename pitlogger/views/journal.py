"""Journal entries as the API answers them: what was entered, when and by whom."""

from __future__ import annotations

from typing import Any

from pydantic import ConfigDict, GetJsonSchemaHandler
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema

from pitlogger.clock import rfc3339
from pitlogger.formats.journal_json import BODY, dump_body
from pitlogger.model.journal import Corrected, Entry
from pitlogger.views.node import Node
from pitlogger.views.view import Moment, View


class DoubtView(View):
    """What looks wrong with a weighing, as a question."""

    doubt: str
    piece: str
    checkpoint: str
    message: str


class OfKind(View):
    """What has a ``kind`` of journal entry; the fields of that kind stand beside its own."""

    model_config = ConfigDict(extra="allow")

    run: str
    seq: int
    kind: str

    @classmethod
    def __get_pydantic_json_schema__(
        cls, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        head = handler.resolve_ref_schema(handler(schema))
        del head["properties"]["kind"]
        bodies = handler(BODY.core_schema)
        return {"title": head.pop("title"), "allOf": [head, bodies]}


class EntryView(OfKind):
    """A journal entry; ``id`` is the short one by which it is corrected or taken back.

    ``at`` is when it was entered, ``happened`` when what it describes took place.
    """

    id: str
    at: Moment
    happened: Moment
    by: str


class NamedEntry(EntryView):
    """An entry and the cook it belongs to, ``None`` for none."""

    of_cook: str | None


class KeptEntry(OfKind):
    """A journal entry in the form the record keeps; ``t_ms`` is engine time."""

    t_ms: int
    by: str = ""
    key: str = ""


class WeighingEntry(EntryView):
    """A weighing that was entered, with its net mass and what looks wrong with it."""

    net_g: float
    doubts: tuple[DoubtView, ...]


class Discard(View):
    """What was thrown away of a piece, and why, as far as that was entered."""

    piece: str
    mass_g: float
    why: str


class MealEntry(EntryView):
    """How a meal went, with the name of its cook and what of it was eaten by nobody."""

    cook_name: str
    discarded: tuple[Discard, ...]


def entry_view(node: Node, entry: Entry, **more: Any) -> EntryView:
    """Return a journal entry; ``more`` stands beside what was entered."""
    made = WeighingEntry if "net_g" in more else MealEntry if "discarded" in more else EntryView
    return made(
        id=entry.id,
        run=entry.run,
        seq=entry.seq,
        at=rfc3339(entry.t_ms + node.utc_offset_ms),
        happened=rfc3339(happened_ms(entry) + node.utc_offset_ms),
        by=entry.by,
        **dump_body(entry.body),
        **more,
    )


def happened_ms(entry: Entry) -> int:
    """Return when what an entry describes happened, in engine time."""
    body = entry.body.body if isinstance(entry.body, Corrected) else entry.body
    at_ms: int | None = getattr(body, "at_ms", None)
    return entry.t_ms if at_ms is None else at_ms
