"""The API of the fleet: how a node's uplink fares, and, on a hub, the firm's questions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Literal

from fastapi import APIRouter
from pydantic import BaseModel, ConfigDict, Field

from pitlogger.clock import utc_ms
from pitlogger.errors import RefusedError
from pitlogger.hub import questions
from pitlogger.hub.invitations import GOOD_FOR_MS
from pitlogger.uplink.offers import PriorOffer, answer_offer, read_offer
from pitlogger.views.node import Node
from pitlogger.views.uplink import Joined, UplinkStatus
from pitlogger.web.access.roles import who_asks

if TYPE_CHECKING:
    from pitlogger.web.fleet.open_hub import OpenHub

DAY_MS = 86_400_000
IS_HUB = "this node is a hub itself: its records are in its own database"


class JoinRequest(BaseModel):
    """A hub's address, empty to find it on the local network, and the code or line it shows."""

    model_config = ConfigDict(extra="forbid")
    hub: Annotated[str, Field(max_length=200)] = ""
    code: Annotated[str, Field(min_length=1, max_length=300)]


class OfferAnswer(BaseModel):
    """Whether the priors of the firm's other sites are used in plans here; or as it was before."""

    model_config = ConfigDict(extra="forbid")
    answer: Literal["take", "decline", "undo"]
    by: Annotated[str, Field(max_length=16)] | None = None


class InviteRequest(BaseModel):
    """Where the node that joins will belong."""

    model_config = ConfigDict(extra="forbid")
    site: Annotated[str, Field(min_length=1, max_length=64)] = "home"


class StateRequest(BaseModel):
    """What a node is from now on."""

    model_config = ConfigDict(extra="forbid")
    state: Literal["enrolled", "retired", "stolen"]


@dataclass(frozen=True, slots=True)
class InvitationView:
    """A code by which one node joins."""

    code: str
    address: str
    site: str
    good_for_s: int


@dataclass(frozen=True, slots=True)
class NodeStateView:
    """What a node is now."""

    uid: str
    state: str


@dataclass(frozen=True, slots=True)
class YieldsView:
    """Yields by site, and what they amount to in words."""

    rows: list[questions.SiteYield]
    sentence: str


def make_fleet_api(node: Node, hub: OpenHub | None) -> APIRouter:
    """Return the routes of the fleet; ``hub`` is ``None`` where the node is none."""
    api = APIRouter(prefix="/api/v1")

    def own_hub() -> OpenHub:
        if hub is None:
            raise RefusedError("this node is no hub: set [hub] enabled = true and restart it")
        return hub

    @api.get("/uplink", summary="How the way to the hub fares")
    async def uplink() -> UplinkStatus:
        return node.uplinking.status()

    @api.post("/uplink/join", summary="Join a hub by its address and a code")
    async def join(asked: JoinRequest) -> Joined:
        if hub is not None:
            raise RefusedError(IS_HUB)
        found: Joined = await node.uplinking.join(asked.hub, asked.code)
        return found

    @api.get("/uplink/priors", summary="What the firm's other sites teach: offered, taken")
    async def priors() -> PriorOffer:
        return read_offer(node.config.node.data)

    @api.post("/uplink/priors", summary="Take what is offered, or decline it")
    async def answer_priors(asked: OfferAnswer) -> PriorOffer:
        by = asked.by or who_asks.get().initials
        return answer_offer(node.config.node.data, asked.answer, by)

    @api.post("/uplink/leave", summary="Stop sending to the hub")
    async def leave() -> UplinkStatus:
        await node.uplinking.leave()
        return node.uplinking.status()

    @api.post("/hub/invitations", summary="Make a code by which a node joins")
    async def invite(asked: InviteRequest) -> InvitationView:
        own = own_hub()
        code = await own.invite(asked.site, who_asks.get().name)
        return InvitationView(code, own.address, asked.site, GOOD_FOR_MS // 1000)

    @api.get("/hub/nodes", summary="The nodes of the firm")
    async def nodes() -> list[questions.NodeHealth]:
        return await own_hub().ask(questions.nodes)

    @api.post("/hub/nodes/{uid}", summary="Retire a node, report it stolen, take it back")
    async def set_state(uid: str, asked: StateRequest) -> NodeStateView:
        await own_hub().set_state(uid, asked.state, who_asks.get().name)
        return NodeStateView(uid, asked.state)

    @api.get("/hub/now", summary="Every pit of the firm as it stands, worst first")
    async def now() -> list[questions.Standing]:
        return await own_hub().ask(questions.standing, utc_ms())

    @api.get("/hub/exceptions", summary="Alarms raised at any site within the last days")
    async def exceptions(
        days: Annotated[int, Field(ge=1, le=90)] = 1,
    ) -> list[questions.ExceptionRow]:
        to_ms = utc_ms()
        from_ms = to_ms - days * DAY_MS
        return await own_hub().ask(questions.exceptions, from_ms, to_ms + DAY_MS)

    @api.get("/hub/yields", summary="Servable yield by cut and site")
    async def yields() -> YieldsView:
        rows = await own_hub().ask(questions.site_yields)
        return YieldsView(rows, questions.sentence(rows))

    return api
