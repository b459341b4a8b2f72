"""The API of tags: what is in the codes of pieces and containers."""

from __future__ import annotations

from typing import Literal

from fastapi import APIRouter

from pitlogger.formats.tags import PieceTag, TrayTag, cook_mark
from pitlogger.node.containers import containers
from pitlogger.views import words
from pitlogger.views.node import Node
from pitlogger.views.view import View


class TagView(View):
    """A tag: the text in its code, what it is of, and a line about that."""

    kind: Literal["piece", "tray"]
    text: str
    title: str
    about: str


def tags_of(node: Node) -> list[TagView]:
    """Return the tags of the pieces that are followed and of the containers on the list."""
    book = node.engine.book
    found = []
    for name, held in book.pieces.items():
        if held.is_open:
            tag = PieceTag(name, cook_mark(held.cook))
            cook = book.cooks[held.cook].cook.name if held.cook in book.cooks else ""
            about = ", ".join(part for part in (words.cut(held.piece.cut), cook) if part)
            found.append(TagView(kind="piece", text=tag.text, title=name, about=about))
    for one in containers(node).values():
        about = f"{(one.tare_mg or 0) / 1000:g} g"
        tray = TrayTag(one.name)
        found.append(TagView(kind="tray", text=tray.text, title=one.name, about=about))
    return found


def make_tags_api(daemon: Node) -> APIRouter:
    """Return the route, bound to a daemon."""
    api = APIRouter(prefix="/api/v1")

    @api.get("/tags", summary="Tags of pieces and containers, to be printed and scanned")
    async def tags() -> list[TagView]:
        return tags_of(daemon)

    return api
