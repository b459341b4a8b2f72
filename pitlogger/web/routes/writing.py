"""The writing half of the API: each route enters one decision into the journal."""

from __future__ import annotations

import re
from collections.abc import Callable, Coroutine
from inspect import Parameter, Signature
from typing import Any, NamedTuple

from fastapi import APIRouter

from pitlogger.model.journal import Weighed
from pitlogger.views.journal import EntryView, WeighingEntry
from pitlogger.views.node import Node
from pitlogger.web import requests
from pitlogger.web.actions import ACTIONS, decide
from pitlogger.web.routes.entry_answer import entry_answer
from pitlogger.yields.doubted import doubts_of


class Write(NamedTuple):
    """A route that does one action; ``name`` makes the operation's id, which clients know."""

    action: str
    path: str
    name: str
    summary: str


_ALERT = "/alerts/{alert:path}"
WRITES = (
    Write("cook", "/cooks", "start_cook", "Start a cook from a cook file's text"),
    Write("finish", "/cooks/finish", "finish_cook", "Finish the running cook"),
    Write("assign", "/assignments", "assign_channel", "Say where a channel sits from now on"),
    Write("moved", "/moves", "move_probe", "Say that a probe was moved within its piece"),
    Write("doubt", "/doubts", "tell_doubt", "Say whether a doubt of a probe was right or wrong"),
    Write("piece", "/pieces", "add_piece", "Add a piece to the running cook"),
    Write("split", "/pieces/{piece}/split", "split_piece", "Split a piece into several"),
    Write("merge", "/merge", "merge_pieces", "Merge several pieces into one"),
    Write("stage", "/stages", "set_stage", "Set the stage of a piece, now or in the past"),
    Write("hold-by-time", "/time-controls", "hold_by_time",
          "Hold a piece by time instead of temperature"),
    Write("target", "/targets", "target", "Set the wrap or pull temperature of a piece"),
    Write("weigh", "/weighings", "weigh", "Keep a mass: typed, or what is steady on a scale"),
    Write("tare", "/tares", "tare", "Take what is on a scale as container"),
    Write("temp", "/temps", "spot", "Enter a hand probe's reading"),
    Write("receive", "/receipts", "receive", "Write down how a piece came in"),
    Write("note", "/notes", "note", "Write a note"),
    Write("undo", "/undo", "undo", "Take an entry back; the last decision if none is named"),
    Write("correct", "/corrections", "correct",
          "Correct an entry of any cook; the old one stays visible"),
    Write("learning", "/learning", "learning",
          "Say whether an entry, piece or cook teaches the next plan"),
    Write("withdraw", "/cooks/withdraw", "withdraw",
          "Take a cook out of lists and learning; nothing is erased"),
    Write("corrective", "/log/corrective", "corrective",
          "Record corrective action and disposition"),
    Write("acknowledge", f"{_ALERT}/acknowledge", "acknowledge", "Got it"),
    Write("answer", f"{_ALERT}/answer", "answer", "Answer a prompt, such as 'not yet'"),
    Write("shelve", f"{_ALERT}/shelve", "shelve", "Mute for some minutes, with a reason"),
    Write("unshelve", f"{_ALERT}/unshelve", "unshelve", "End the muting"),
    Write("reset", f"{_ALERT}/reset", "reset", "Settle a latched alert, saying what was done"),
)  # fmt: skip


def add_writes(api: APIRouter, daemon: Node) -> None:
    """Add the routes that write to the API."""
    for one in WRITES:
        answer = WeighingEntry if one.action == "weigh" else EntryView
        api.add_api_route(
            one.path, _endpoint(daemon, one), methods=["POST"], response_model=answer,
            name=one.name, summary=one.summary,
        )  # fmt: skip


def _endpoint(daemon: Node, route: Write) -> Callable[..., Coroutine[Any, Any, EntryView]]:
    """Return what a route does; its signature is that of the action and of the path's fields."""

    async def write(ask: requests.Ask, **named: str) -> EntryView:
        given = ask.model_copy(update=named) if named else ask
        entry = await decide(daemon, route.action, given)
        if not isinstance(entry.body, Weighed):
            return entry_answer(daemon, entry)
        is_running = entry in daemon.engine.state.entries
        doubts = doubts_of(daemon.engine.book, entry.body.piece) if is_running else []
        return entry_answer(daemon, entry, net_g=entry.body.net_mg / 1000, doubts=doubts)

    fields: dict[str, type] = dict.fromkeys(re.findall(r"{(\w+)", route.path), str)
    fields["ask"] = ACTIONS[route.action].ask
    write.__signature__ = Signature([  # type: ignore[attr-defined]
        Parameter(name, Parameter.KEYWORD_ONLY, annotation=kind) for name, kind in fields.items()
    ])  # fmt: skip
    return write
