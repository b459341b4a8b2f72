"""The writing half of the API: each route enters one decision into the journal."""

from __future__ import annotations

from fastapi import APIRouter

from pitlogger.model.journal import Weighed
from pitlogger.views.journal import EntryView, WeighingEntry
from pitlogger.views.node import Node
from pitlogger.web import requests
from pitlogger.web.actions import decide
from pitlogger.web.routes.entry_answer import entry_answer
from pitlogger.yields.doubted import doubts_of


def add_writes(api: APIRouter, daemon: Node) -> None:
    """Add the routes that write to the API."""
    _add_cook_writes(api, daemon)
    _add_piece_writes(api, daemon)
    _add_journal_writes(api, daemon)
    _add_alert_writes(api, daemon)


async def _told(daemon: Node, name: str, ask: requests.Ask, **named: str) -> EntryView:
    """Do what was asked; ``named`` are the fields that the path gives."""
    given = ask.model_copy(update=named) if named else ask
    entry = await decide(daemon, name, given)
    if not isinstance(entry.body, Weighed):
        return entry_answer(daemon, entry)
    is_running = entry in daemon.engine.state.entries
    doubts = doubts_of(daemon.engine.book, entry.body.piece) if is_running else []
    return entry_answer(daemon, entry, net_g=entry.body.net_mg / 1000, doubts=doubts)


def _add_cook_writes(api: APIRouter, daemon: Node) -> None:
    @api.post("/cooks", summary="Start a cook from a cook file's text")
    async def start_cook(ask: requests.CookAsk) -> EntryView:
        return await _told(daemon, "cook", ask)

    @api.post("/cooks/finish", summary="Finish the running cook")
    async def finish_cook(ask: requests.FinishAsk) -> EntryView:
        return await _told(daemon, "finish", ask)

    @api.post("/assignments", summary="Say where a channel sits from now on")
    async def assign_channel(ask: requests.AssignAsk) -> EntryView:
        return await _told(daemon, "assign", ask)

    @api.post("/moves", summary="Say that a probe was moved within its piece")
    async def move_probe(ask: requests.MovedAsk) -> EntryView:
        return await _told(daemon, "moved", ask)


def _add_piece_writes(api: APIRouter, daemon: Node) -> None:
    @api.post("/pieces", summary="Add a piece to the running cook")
    async def add_piece(ask: requests.PieceAsk) -> EntryView:
        return await _told(daemon, "piece", ask)

    @api.post("/pieces/{piece}/split", summary="Split a piece into several")
    async def split_piece(piece: str, ask: requests.SplitAsk) -> EntryView:
        return await _told(daemon, "split", ask, piece=piece)

    @api.post("/merge", summary="Merge several pieces into one")
    async def merge_pieces(ask: requests.MergeAsk) -> EntryView:
        return await _told(daemon, "merge", ask)

    @api.post("/stages", summary="Set the stage of a piece, now or in the past")
    async def set_stage(ask: requests.StageAsk) -> EntryView:
        return await _told(daemon, "stage", ask)

    @api.post("/time-controls", summary="Hold a piece by time instead of temperature")
    async def hold_by_time(ask: requests.ByTimeAsk) -> EntryView:
        return await _told(daemon, "hold-by-time", ask)

    @api.post("/targets", summary="Set the wrap or pull temperature of a piece")
    async def target(ask: requests.TargetAsk) -> EntryView:
        return await _told(daemon, "target", ask)


def _add_journal_writes(api: APIRouter, daemon: Node) -> None:
    @api.post(
        "/weighings",
        response_model=WeighingEntry,
        summary="Keep a mass: typed, or what is steady on a scale",
    )
    async def weigh(ask: requests.WeighAsk) -> EntryView:
        return await _told(daemon, "weigh", ask)

    @api.post("/tares", summary="Take what is on a scale as container")
    async def tare(ask: requests.TareAsk) -> EntryView:
        return await _told(daemon, "tare", ask)

    @api.post("/temps", summary="Enter a hand probe's reading")
    async def spot(ask: requests.TempAsk) -> EntryView:
        return await _told(daemon, "temp", ask)

    @api.post("/receipts", summary="Write down how a piece came in")
    async def receive(ask: requests.ReceiveAsk) -> EntryView:
        return await _told(daemon, "receive", ask)

    @api.post("/notes", summary="Write a note")
    async def note(ask: requests.NoteAsk) -> EntryView:
        return await _told(daemon, "note", ask)

    @api.post("/undo", summary="Take an entry back; the last decision if none is named")
    async def undo(ask: requests.UndoAsk) -> EntryView:
        return await _told(daemon, "undo", ask)

    @api.post("/corrections", summary="Correct an entry of any cook; the old one stays visible")
    async def correct(ask: requests.CorrectAsk) -> EntryView:
        return await _told(daemon, "correct", ask)

    @api.post("/learning", summary="Say whether an entry, piece or cook teaches the next plan")
    async def learning(ask: requests.LearningAsk) -> EntryView:
        return await _told(daemon, "learning", ask)

    @api.post("/cooks/withdraw", summary="Take a cook out of lists and learning; nothing is erased")
    async def withdraw(ask: requests.WithdrawAsk) -> EntryView:
        return await _told(daemon, "withdraw", ask)


def _add_alert_writes(api: APIRouter, daemon: Node) -> None:
    @api.post("/alerts/{alert:path}/acknowledge", summary="Got it")
    async def acknowledge(alert: str, ask: requests.AlertAsk) -> EntryView:
        return await _told(daemon, "acknowledge", ask, alert=alert)

    @api.post("/alerts/{alert:path}/answer", summary="Answer a prompt, such as 'not yet'")
    async def answer(alert: str, ask: requests.AnswerAsk) -> EntryView:
        return await _told(daemon, "answer", ask, alert=alert)

    @api.post("/alerts/{alert:path}/shelve", summary="Mute for some minutes, with a reason")
    async def shelve(alert: str, ask: requests.ShelveAsk) -> EntryView:
        return await _told(daemon, "shelve", ask, alert=alert)

    @api.post("/alerts/{alert:path}/unshelve", summary="End the muting")
    async def unshelve(alert: str, ask: requests.AlertAsk) -> EntryView:
        return await _told(daemon, "unshelve", ask, alert=alert)

    @api.post("/alerts/{alert:path}/reset", summary="Settle a latched alert, saying what was done")
    async def reset(alert: str, ask: requests.AlertAsk) -> EntryView:
        return await _told(daemon, "reset", ask, alert=alert)
