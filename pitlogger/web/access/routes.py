"""Routes of access: pairing a phone, listing and removing keys, keys for programs."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter
from pydantic import BaseModel, ConfigDict, Field

from pitlogger.clock import rfc3339, utc_ms
from pitlogger.views.view import Moment, View, moment
from pitlogger.web.access.access import Access
from pitlogger.web.access.codes import GOOD_FOR_MS, spoken
from pitlogger.web.access.keyring import Holder
from pitlogger.web.access.roles import role_of, who_asks


class CodeAsk(BaseModel):
    """Ask for a pairing code."""

    model_config = ConfigDict(extra="forbid")

    role: Annotated[str, Field(max_length=10)] = "hands"


class ProgramAsk(BaseModel):
    """Ask for a key for a program."""

    model_config = ConfigDict(extra="forbid")

    name: Annotated[str, Field(min_length=1, max_length=40)]
    role: Annotated[str, Field(max_length=10)] = "look"


class RemoveAsk(BaseModel):
    """Take a key away."""

    model_config = ConfigDict(extra="forbid")


class Asking(View):
    """Who asks; ``role`` is ``None`` where nobody may look without a key."""

    name: str
    initials: str
    role: str | None


class HolderView(View):
    """A phone or a program that holds a key."""

    id: str
    kind: str
    name: str
    initials: str
    role: str
    made: Moment
    seen: Moment
    removed: Moment | None
    removed_by: str


class ProgramKey(HolderView):
    """A program and its key, which is shown this once."""

    token: str


class CodeView(View):
    """A code that pairs one phone."""

    code: str
    role: str
    good_for_s: int
    link: str | None


def make_access_api(access: Access, page: str | None) -> APIRouter:
    """Return the routes; ``page`` is the address phones open, ``None`` without a page."""
    api = APIRouter(prefix="/api/v1", tags=["access"])

    @api.get("/me", summary="Who asks, and what they may do")
    async def me() -> Asking:
        who = who_asks.get()
        role = who.role.label if who.role else "look" if access.web.open_read else None
        return Asking(name=who.name, initials=who.initials, role=role)

    @api.get("/phones", summary="Phones and programs that hold a key, removed ones too")
    async def phones() -> list[HolderView]:
        return [holder_view(held) for held in access.keys.holders()]

    @api.post("/phones/codes", summary="A code that pairs one phone within ten minutes")
    async def code(ask: CodeAsk) -> CodeView:
        role = role_of(ask.role)
        made = access.invite(role)
        link = None if page is None else f"{page}pair#{made}"
        return CodeView(
            code=spoken(made), role=role.label, good_for_s=GOOD_FOR_MS // 1000, link=link
        )

    @api.post("/phones/{phone}/remove", summary="Take the key of a phone or a program away")
    async def remove(phone: str, ask: RemoveAsk) -> HolderView:
        return holder_view(access.keys.remove(phone, who_asks.get().name, utc_ms()))

    @api.post("/programs", summary="A key for a program; it is shown this once")
    async def program(ask: ProgramAsk) -> ProgramKey:
        held, key = access.admit("program", ask.name, role_of(ask.role))
        return ProgramKey(**dict(holder_view(held)), token=key)

    return api


def holder_view(held: Holder) -> HolderView:
    """Return a phone or program as listed; its key is not among it, since it is not kept."""
    return HolderView(
        id=held.id,
        kind=held.kind,
        name=held.name,
        initials=held.initials,
        role=held.role.label,
        made=rfc3339(held.made_ms),
        seen=rfc3339(held.seen_ms),
        removed=moment(held.removed_ms),
        removed_by=held.removed_by,
    )
