"""The API of the food log: sheets, corrective action, sign-off, checks; and the rules."""

from __future__ import annotations

import asyncio
from typing import Annotated, Any, Literal

from fastapi import APIRouter
from pydantic import BaseModel, Field

from pitlogger.clock import rfc3339
from pitlogger.engine.explain import watched
from pitlogger.formats.journal_json import dump_entry, load_body
from pitlogger.formats.paper_journal import PaperCook
from pitlogger.model.journal import Adjusted, CheckMade, CorrectiveTaken, Entry
from pitlogger.questions import Answers
from pitlogger.safety import record
from pitlogger.views.food_log import FoodLogView
from pitlogger.views.journal import EntryView
from pitlogger.views.node import Node
from pitlogger.views.rules import RulesView
from pitlogger.views.view import View
from pitlogger.web.access.roles import who_asks
from pitlogger.web.import_batches import put_on_record, withdraw_batch
from pitlogger.web.judged import JudgedCook, judged
from pitlogger.web.kept_answers import keep_answers, kept_answers
from pitlogger.web.requests import Ask, Text
from pitlogger.web.routes.entry_answer import entry_answer
from pitlogger.web.signers import Signers
from pitlogger.web.signing import sign_off


class SignAsk(Ask):
    """Sign a cook's record off after review."""

    cook: str | None = None
    pin: Annotated[str, Field(max_length=20)] = ""


class SignerAsk(Ask):
    """Give somebody who signs logs a PIN; ``by`` are the signer's initials."""

    name: Annotated[str, Field(min_length=1, max_length=80)]
    pin: Annotated[str, Field(max_length=20)]


class SignerView(View):
    """Who may sign a food log."""

    by: str
    name: str


# Of an instrument that shows anything at all: a thousand degrees, a tonne.
Milli = Annotated[int, Field(ge=-1_000_000_000, le=1_000_000_000)]


class CheckAsk(Ask):
    """A verification that was made, and the offset to store, in milli-units."""

    instrument: str
    method: Literal["ice", "boil", "scale"]
    error: Milli
    tolerance: Milli
    within: bool
    reference: Text = ""
    offset: Milli | None = None


class DatedBody(BaseModel):
    """A journal body and when it is taken to have been entered."""

    t_ms: int
    body: dict[str, Any]


class PastCookTable(BaseModel):
    """A cook of a paper log."""

    name: str
    start_ms: int
    bodies: Annotated[tuple[DatedBody, ...], Field(min_length=1, max_length=500)]


class PastAsk(Ask):
    """Cooks of a paper log, to be put on record."""

    cooks: Annotated[tuple[PastCookTable, ...], Field(min_length=1, max_length=20_000)]
    batch: Annotated[str, Field(max_length=40)] = ""
    header: Annotated[str, Field(max_length=16)] = ""  # of the sheet they came in
    answers_kept: Annotated[tuple[Text, ...], Field(max_length=20)] = ()  # for the next one


class KeptAnswersView(View):
    """What was answered about the last sheet with the same header."""

    answers: tuple[str, ...]


class WithdrawBatchAsk(Ask):
    """An import to be taken back whole, and why."""

    batch: Annotated[str, Field(min_length=1, max_length=40)]
    reason: Annotated[str, Field(min_length=1, max_length=500)]


class PastView(View):
    """How many cooks were put on record or taken back; ``new`` were not in the lists before."""

    cooks: int
    new: int = 0
    rows: int = 0  # of the new ones
    stay_out: int = 0  # withdrawn by themselves before: they stay so


def make_log_api(daemon: Node, signers: Signers) -> APIRouter:
    """Return the routes of the food log, bound to a daemon."""
    api = APIRouter(prefix="/api/v1")

    @api.get("/log", summary="The food log of a cook: sheets, chain, sign-offs")
    async def log(cook: str | None = None) -> FoodLogView:
        return food_log(await judged(daemon, cook))

    @api.post("/log/sign", summary="Sign a cook's record off after review")
    async def sign(ask: SignAsk) -> EntryView:
        return entry_answer(
            daemon,
            await sign_off(daemon, signers, ask.cook, ask.by, ask.pin, ask.key, ask.answers),
        )

    @api.get("/log/signers", summary="Who may sign")
    async def list_signers() -> list[SignerView]:
        known = await asyncio.to_thread(signers.known)
        return [SignerView(by=one.initials, name=one.name) for one in known.values()]

    @api.post("/log/signers", summary="Give a signer a PIN")
    async def add_signer(ask: SignerAsk) -> SignerView:
        made = await asyncio.to_thread(signers.add, ask.by, ask.name, ask.pin)
        return SignerView(by=made.initials, name=made.name)

    @api.post("/checks", summary="Keep a verification, and the offset it found")
    async def keep_check(ask: CheckAsk) -> EntryView:
        made = CheckMade(
            ask.instrument, ask.method, ask.error, ask.tolerance, ask.within, ask.reference
        )
        kept = await daemon.submit(made, ask.by, ask.key)
        if ask.offset is not None and ask.within:
            reason = f"{ask.method} check, entry {kept.seq}"
            await daemon.submit(Adjusted(ask.instrument, ask.offset, reason), ask.by)
        return entry_answer(daemon, kept)

    @api.post("/record", summary="Put cooks from a paper log on record; the same log twice is one")
    async def add_cooks(ask: PastAsk) -> PastView:
        cooks = [
            PaperCook(
                cook.name,
                cook.start_ms,
                tuple((dated.t_ms, load_body(dated.body)) for dated in cook.bodies),
                ask.by or who_asks.get().initials,
                ask.batch,
            )
            for cook in ask.cooks
        ]
        by = ask.by or who_asks.get().initials
        made = await put_on_record(daemon, cooks, ask.batch, by, ask.answers)
        if ask.header:
            await asyncio.to_thread(
                keep_answers, daemon.config.node.data, ask.header, Answers(ask.answers_kept)
            )
        return PastView(cooks=len(cooks), new=len(made.new), rows=made.rows, stay_out=made.stay_out)

    @api.get("/record/sheets/{header}", summary="What was answered about the last sheet like it")
    async def sheet(header: str) -> KeptAnswersView:
        return KeptAnswersView(answers=kept_answers(daemon.config.node.data, header).given)

    @api.post("/record/withdraw", summary="Take a whole import out of lists and learning")
    async def take_back(ask: WithdrawBatchAsk) -> PastView:
        by = ask.by or who_asks.get().initials
        return PastView(cooks=await withdraw_batch(daemon, ask.batch, ask.reason, by))

    @api.get("/rules", summary="The limits and conditions watched now, and why")
    async def rules(piece: str | None = None) -> RulesView:
        return RulesView.model_validate({"rules": watched(daemon.engine, piece)})

    return api


def food_log(made: JudgedCook) -> FoodLogView:
    """Return a cook's sheets, what they lack, and whether its chain holds."""
    return FoodLogView.model_validate(
        {
            "cook": made.cook,
            "sheets": record.SHEETS,
            "rows": [row.document() for row in made.rows],
            "missing": [
                {"sheet": row.sheet, "product": row.product, "what": row.what, "missing": lacking}
                for row in made.rows
                if (lacking := record.missing(row))
            ],
            "corrective": [_logged(e) for e in made.logged if isinstance(e.body, CorrectiveTaken)],
            "checks": [_logged(e) for e in made.logged if isinstance(e.body, CheckMade)],
            "entries": made.entries,
            "head": made.head,
            "signed": [
                {
                    "by": held.by,
                    "name": held.name,
                    "at": rfc3339(held.at_ms),
                    "entries": held.seq,
                    "head": held.head,
                }
                for held in made.signed
            ],
            "since_signed": [
                {"id": one.id, "at": rfc3339(one.t_ms), "by": one.by, "words": words}
                for one, words in made.since
            ],
            "faults": made.faults,
        }
    )


def _logged(entry: Entry) -> dict[str, Any]:
    return {"at": rfc3339(entry.t_ms), **dump_entry(entry)}
