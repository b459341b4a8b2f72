"""A yes to what was recognised: it becomes the stage or the weighing, with who agreed."""

from __future__ import annotations

from dataclasses import replace

from pitlogger.engine.watch.cores import all_cores, coldest
from pitlogger.engine.watch.recognition import inferred, is_return
from pitlogger.engine.watch.weights import FIRST, KEPT, LIKELY, SECOND, UNDO, weighing
from pitlogger.errors import RefusedError
from pitlogger.inference.recogniser import StageProposal
from pitlogger.model.cooks import ON_PIT, Stage
from pitlogger.model.journal import AlertActed, Body, Undone
from pitlogger.questions import Answers
from pitlogger.views.alert_words import looks
from pitlogger.views.language import tr
from pitlogger.views.node import Node
from pitlogger.views.shown import Shown

YES, NO = "yes", "no"
_OFF = (
    "From then on it counts as off the pit: hot-holding limits hold, and no pit is watched for it."
)
_BACK = "From then on it counts as back on the pit: no hot-holding limit is watched for it."
_FOLLOWS = {
    Stage.SMOKING: _BACK,
    Stage.WRAPPED: _BACK,
    Stage.COOLING: "From then on the cooling limits hold, and no hot-holding limit is watched.",
    Stage.CHILLED: "From then on the limit of cold holding holds.",
    Stage.REHEATING: "From then on it has to be hot again in time; no limit of cold is watched.",
}


def agreed(daemon: Node, piece: str, found: StageProposal, answers: Answers) -> Body:
    """Return a proposal as the stage it is, agreed to.

    But for what goes on the pit for the first time other limits hold: there the temperature and
    what follows are asked about first.

    Raises:
        QuestionError: Other limits hold, and that was not answered yet.
    """
    engine = daemon.engine
    if found.stage not in ON_PIT or is_return(engine.book.pieces[piece], found.stage):
        shown = Shown(daemon.units, daemon.clock.engine_ms(), daemon.utc_offset_ms)
        now_ms = daemon.clock.engine_ms()
        core = coldest(all_cores(engine.state, engine.book, piece, now_ms))
        reads = tr("no probe reads it") if core is None else tr(
            "its core reads {value}", value=shown.temperature(core[0])
        )  # fmt: skip
        question = tr(
            "{looks}; {reads}. {follows} Is that so?", looks=looks(piece, found, shown),
            reads=reads, follows=tr(_FOLLOWS.get(found.stage, _OFF)),
        )  # fmt: skip
        if answers.choose(question, (YES, NO)) == NO:
            return AlertActed(f"stage-likely/{piece}", "answer", reason=NO)
    return replace(inferred(piece, found), confirmed=True)


def answered_weight(daemon: Node, kind: str, channel: str, answer: str) -> Body:
    """Return what an answer about a weight amounts to.

    Raises:
        RefusedError: It was taken back, or is not asked about any more.
    """
    engine = daemon.engine
    if kind == KEPT and answer == UNDO:
        for held in engine.book.pieces.values():
            for one in reversed(held.weighings):
                if one.weighed.channel == channel and one.weighed.is_unconfirmed:
                    return Undone(*one.id, "not what it was taken for")
        raise RefusedError(f"{channel}: nothing that was kept by itself is left to undo")
    if kind == LIKELY and answer in (FIRST, SECOND):
        found = engine.weights.asked(channel)
        at = (FIRST, SECOND).index(answer)
        if found is None or len(found[1]) <= at:
            raise RefusedError(f"{channel}: there is no {answer} to choose now")
        return replace(weighing(found[0], found[1][at]), confirmed=True)
    return AlertActed(f"{kind}/{channel}", "answer", reason=answer)
