"""What a journal entry says: one line, the same on the page, in commands and in the story."""

from __future__ import annotations

from collections.abc import Iterable

from pitlogger.engine.commands import UNDOABLE
from pitlogger.model import journal
from pitlogger.model.entry_ids import short_id
from pitlogger.model.quantities import show_chance, show_duration
from pitlogger.model.readings import Site
from pitlogger.rules.messages import Units
from pitlogger.views import words
from pitlogger.views.alert_words import alert_words
from pitlogger.views.language import tr
from pitlogger.views.shown import mass, temperature


def is_undoable(body: journal.Body) -> bool:
    """Return whether what was just done can be taken back by one tap."""
    return isinstance(body, UNDOABLE)


def told(body: journal.Body, units: Units) -> str:
    """Return the line of an entry as a sentence, for who just made it."""
    return f"{body_words(body, units).rstrip('.')}."


def body_words(body: journal.Body, units: Units) -> str:
    """Return one line for an entry's body, in a person's units."""
    match body:
        case journal.CookStarted():
            return tr("{cook} has begun", cook=body.cook.name)
        case journal.CookFinished():
            return tr("{cook} is finished", cook=body.name)
        case journal.StageSet():
            stage = words.stage(body.stage)
            told = tr("{stage} in {wrap}", stage=stage, wrap=body.wrap) if body.wrap else stage
            if body.source == "inferred":
                told += tr(", recognised ({p} likely)", p=show_chance(body.p or 0))
            if body.mass_mg is not None:
                told += f", {mass(body.mass_mg, units.mass)}"
            return f"{body.piece}: {told}" + _because(body.reason)
        case journal.Weighed():
            told = f"{mass(body.net_mg, units.mass)}, {words.checkpoint(body.checkpoint)}"
            if body.tare_mg:
                told += tr(", container {mass}", mass=mass(body.tare_mg, units.mass))
            if body.p is not None:
                told += tr(", recognised ({p} likely)", p=show_chance(body.p))
            return f"{body.piece}: {told}" + _because(body.reason)
        case journal.SpotRead():
            value = temperature(body.value_mc, units.temperature, 1)
            told = tr("{value} by hand", value=value)
            if body.probe:
                told = tr("{value} by hand with {probe}", value=value, probe=body.probe)
            return f"{body.piece or words.site(body.site)}: {told}"
        case journal.Noted():
            return (
                f"{body.piece}: {body.text}" if body.piece else tr("note: {text}", text=body.text)
            )
        case journal.TargetSet():
            return f"{body.piece}: {_targets(body, units)}"
        case journal.Tared():
            tare = mass(body.tare_mg, units.mass)
            return tr("{channel}: {mass} counts as container", channel=body.channel, mass=tare)
        case journal.Undone():
            known = short_id(body.of_run, body.of_seq)
            return tr("entry {entry} taken back; the record keeps both", entry=known) + _because(
                body.reason
            )
        case journal.Corrected():
            right = body_words(body.body, units)
            return tr(
                "entry {entry} corrected: {right}",
                entry=short_id(body.of_run, body.of_seq),
                right=right,
            ) + _because(body.reason)
        case _:
            return _of_pieces_and_probes(body, units)


def _received(body: journal.Received, units: Units) -> str:
    told = tr("accepted") if body.accepted else tr("refused")
    if body.value_mc is not None:
        told = f"{temperature(body.value_mc, units.temperature, 1)}, {told}"
    return f"{body.piece}: {told}" + _because(body.condition)


def _of_pieces_and_probes(body: journal.Body, units: Units) -> str:
    match body:
        case journal.PieceAdded():
            return tr("{piece}: added, {cut}", piece=body.piece.id, cut=words.cut(body.piece.cut))
        case journal.PieceSplit():
            children = both(child.id for child in body.children)
            return tr("{piece}: split into {children}", piece=body.piece, children=children)
        case journal.PiecesMerged():
            pieces = both(body.pieces)
            return tr("{pieces} put together as {piece}", pieces=pieces, piece=body.child.id)
        case journal.ChannelAssigned(channel=channel):
            if channel.site is Site.NONE:
                return tr("{channel}: put away", channel=channel.id)
            where = " ".join(word for word in (channel.piece, words.site(channel.site)) if word)
            told = tr("{channel}: sits at {where}", channel=channel.id, where=where)
            if body.swapped_with is not None:
                told = tr("{told}, {other} where it sat", told=told, other=body.swapped_with)
            if body.at_ms is not None:
                told += tr(" (since before it was said: what it read is tagged anew)")
            return told
        case journal.ProbeMoved():
            return tr("{channel}: moved, its trend starts anew", channel=body.channel)
        case journal.Adjusted():
            return tr("{channel}: offset set", channel=body.channel) + _because(body.reason)
        case journal.MealTold():
            return tr("the meal: {told}", told=_meal(body))
        case journal.Received():
            return _received(body, units)
        case journal.HeldByTime():
            return tr("{piece}: held by time, {hours} hours", piece=body.piece, hours=body.hours)
        case journal.CorrectiveTaken():
            return tr("{piece}: corrective action, {disposition}", piece=body.piece,
                      disposition=body.disposition)  # fmt: skip
        case journal.SignedOff():
            return tr("record of {cook} signed up to its entry {seq}", cook=body.cook,
                      seq=body.entries)  # fmt: skip
        case journal.LearningSet() | journal.CookWithdrawn() | journal.ChannelDoubted():
            return _of_trust(body)
        case _:
            return _of_the_node(body, units)


def _of_trust(body: journal.LearningSet | journal.CookWithdrawn | journal.ChannelDoubted) -> str:
    """Return the line of what is believed, and what teaches."""
    if isinstance(body, journal.CookWithdrawn):
        return tr("cook withdrawn from lists and learning") + _because(body.reason)
    if isinstance(body, journal.ChannelDoubted):
        line = "{channel}: believed again" if body.believed else "{channel}: not believed"
        return tr(line, channel=body.channel) + _because(body.reason)
    what = body.piece or tr("the cook")
    if body.of_run is not None and body.of_seq is not None:
        what = tr("entry {entry}", entry=short_id(body.of_run, body.of_seq))
    line = "{what} teaches the next plan" if body.teaches else "{what} does not teach the next plan"
    return tr(line, what=what) + _because(body.reason)


def _of_the_node(body: journal.Body, units: Units) -> str:
    """Return the line of what alerts, forecasts, devices and checks came to."""
    match body:
        case journal.AlertActed():
            done = tr(words.ALERT_ACTS[body.action])
            return f"{words.alert_named(body.alert)}: {done}{_because(body.reason)}"
        case journal.AlertChanged():
            return f"{words.state(body.now)}: {alert_words(body, units)}"
        case journal.Doubted():
            return tr("doubt: {message}", message=body.message)
        case journal.ForecastMade():
            line = tr("{piece}: forecast of the {target}", piece=body.piece, target=body.target)
            return line + _because(body.reason)
        case journal.ForecastSkipped():
            line = tr("{piece}: no forecast of the {target}", piece=body.piece, target=body.target)
            return line + _because(body.reason)
        case journal.DeviceChanged():
            return f"{body.device}: {body.status}{_because(body.message)}"
        case journal.TroubleChanged():
            what = words.alert(body.alert)
            told = what if body.active else tr("over, {what}", what=what)
            return f"{body.subject}: {told}{_because(body.message)}"
        case journal.CheckMade():
            fields = {"instrument": body.instrument, "method": tr(words.CHECKS[body.method])}
            if body.within:
                return tr("{instrument}: {method} check, within its tolerance", **fields)
            return tr("{instrument}: {method} check, outside its tolerance", **fields)
        case journal.RunStarted():
            if body.gap_ms is None:
                return tr("the daemon started, after an unknown time")
            return tr("the daemon started, after {gap}", gap=show_duration(body.gap_ms))
        case journal.ClockSet():
            return tr("the clock was set")
        case _:
            return body.kind.replace("-", " ")


def _targets(body: journal.TargetSet, units: Units) -> str:
    told = []
    if body.wrap_at_mc is not None:
        told.append(tr("wrap at {value}", value=temperature(body.wrap_at_mc, units.temperature)))
    if body.pull_at_mc is not None:
        value = temperature(body.pull_at_mc, units.temperature)
        told.append(tr("off the pit at {value}", value=value))
    return ", ".join(told) or tr("no targets")


def _meal(body: journal.MealTold) -> str:
    told = [tr("{count} came", count=body.came)] if body.came is not None else []
    told += [tr("{mass} left over", mass=mass(body.left_mg))] if body.left_mg is not None else []
    told += [tr("{piece} tender {mark} of 5", piece=marked.piece, mark=marked.mark)
             for marked in body.tender]  # fmt: skip
    return ", ".join([*told, *([body.text] if body.text else [])])


def _because(reason: str) -> str:
    return f": {reason}" if reason else ""


def both(names: Iterable[str]) -> str:
    """Return names as they are said together: a, b and c."""
    *most, last = names
    return tr("{names} and {last}", names=", ".join(most), last=last) if most else last
