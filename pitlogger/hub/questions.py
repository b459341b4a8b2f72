"""Questions across the nodes of one firm: pits now, exceptions, yields, nodes, one cook."""

from __future__ import annotations

import json
import math
import statistics
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from pitlogger.hub.database import Database
from pitlogger.model.cooks import CUTS
from pitlogger.model.quantities import show_share
from pitlogger.uplink.carrier import COPIED
from pitlogger.yields.learned.belief import expit, logit
from pitlogger.yields.learned.shrinkage import shrink
from pitlogger.yields.purchase.cut_priors import cut_prior

LEAST_PIECES = 3  # of a cut at a site, before it is compared
CLOCK_OFF_MS = 900_000  # beyond what a bundle needs to come
QUIET_MS = 180_000  # without a word from a node for so long, what it said is shown as old


@dataclass(frozen=True, slots=True)
class Standing:
    """How things stand at one node, as it said last."""

    node: str
    name: str
    site: str
    at_ms: int
    received_ms: int
    alarms: int
    document: dict[str, Any]
    is_old: bool


@dataclass(frozen=True, slots=True)
class ExceptionRow:
    """An alarm that was raised somewhere, with what became of it."""

    site: str
    node: str
    utc_ms: int
    kind: str
    subject: str
    state: str
    message: str
    id: str
    corrective: str = ""  # what was done about it, in the words of whoever did


@dataclass(frozen=True, slots=True)
class SiteYield:
    """What a site yields of a cut: its own mean and the one drawn towards the firm's."""

    site: str
    cut: str
    pieces: int
    own: float
    shrunk: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class NodeHealth:
    """A node as whoever runs the hub sees it."""

    uid: str
    name: str
    site: str
    state: str
    version: str
    received_ms: int | None
    entries: int
    conflicts: int
    cloned_ms: int | None
    cert_until_ms: int | None = None
    clock_off_ms: int = 0  # above 0: it is behind the hub's

    @property
    def odd(self) -> str:
        """What is odd about it, in words; empty for nothing."""
        said = []
        if self.cloned_ms is not None:
            on = datetime.fromtimestamp(self.cloned_ms / 1000).astimezone().date()
            said.append(f"two cards used one key on {on}. {COPIED.remedy}")
        if self.clock_off_ms:
            said.append(f"its clock is {abs(self.clock_off_ms) // 60_000} min off")
        if self.conflicts:
            said.append(f"{self.conflicts} contradiction{'s' * (self.conflicts != 1)}")
        return "; ".join(said)


def sites(database: Database, tenant: int, among: Sequence[int] = ()) -> list[str]:
    """Return the names of a firm's sites; ``among``: numbers of those meant, none is all."""
    rows = database.ask("SELECT id, name FROM site WHERE tenant = ? ORDER BY name", (tenant,))
    return [name for number, name in rows if not among or number in among]


def standing(database: Database, tenant: int, now_ms: int) -> list[Standing]:
    """Return every node of a firm as it stands, the worst first."""
    rows = database.ask(
        "SELECT node.uid, node.name, site.name, at_ms, standing.received_ms, alarms, document"
        " FROM standing JOIN node ON node.id = standing.node JOIN site ON site.id = node.site"
        " WHERE node.tenant = ? AND node.state = 'enrolled'", (tenant,),
    )  # fmt: skip
    found = [
        Standing(
            uid, name, site, at_ms, heard_ms, alarms, json.loads(text), now_ms - heard_ms > QUIET_MS
        )
        for uid, name, site, at_ms, heard_ms, alarms, text in rows
    ]
    return sorted(found, key=lambda one: (-one.alarms, one.is_old, one.site, one.name))


def exceptions(database: Database, tenant: int, from_ms: int, to_ms: int) -> list[ExceptionRow]:
    """Return the alarms raised within a span of UTC, newest first, with their last state.

    By the hub's clock: times of a node whose own is off are shifted by what it is off now.
    """
    raised: dict[tuple[int, str], ExceptionRow] = {}
    done: list[tuple[int, ExceptionRow]] = []
    alerts = _entries(database, tenant, "alert_kind IS NOT NULL", from_ms, to_ms)
    for number, utc_ms, site, node, kind, text, run, seq, _ in alerts:
        said = json.loads(text)
        key, now = (number, str(said.get("alert"))), str(said.get("now"))
        before = raised.get(key)
        if now == "unacknowledged":
            if before is not None:
                done.append((number, before))
            subject = said.get("piece") or said.get("channel") or ""
            raised[key] = ExceptionRow(
                site, node, utc_ms, kind, subject, now, said.get("message", ""), f"{run}/{seq}"
            )
        elif before is not None:
            raised[key] = replace(before, state=now)
    done += [(number, one) for (number, _), one in raised.items()]
    actions = _corrective(database, tenant, from_ms, to_ms)
    told = [
        replace(one, corrective=" ".join(
            words for of, utc_ms, piece, words in actions
            if (of, piece) == (number, one.subject) and utc_ms >= one.utc_ms
        )) for number, one in done
    ]  # fmt: skip
    return sorted(told, key=lambda one: -one.utc_ms)


def _entries(
    database: Database, tenant: int, which: str, from_ms: int, to_ms: int
) -> list[tuple[Any, ...]]:
    """Return entries within a span by the hub's clock: number of the node, when, and the rest."""

    def rows(from_ms: int, to_ms: int) -> list[tuple[Any, ...]]:
        return database.ask(
            "SELECT node.id, journal.utc_ms, site.name, node.name, alert_kind, entry, journal.run,"
            " seq, initials FROM journal JOIN node ON node.id = journal.node"
            " JOIN site ON site.id = node.site WHERE journal.tenant = ? AND utc_ms >= ?"
            f" AND utc_ms < ? AND {which}", (tenant, from_ms, to_ms),
        )  # fmt: skip

    off = _clocks_off(database, tenant)
    found = [row for row in rows(from_ms, to_ms) if row[0] not in off]
    for node, off_ms in off.items():
        some = rows(from_ms - off_ms, to_ms - off_ms)
        found += [(node, row[1] + off_ms, *row[2:]) for row in some if row[0] == node]
    return sorted(found, key=lambda row: (row[1], row[7]))


def _clocks_off(database: Database, tenant: int) -> dict[int, int]:
    """Return by how much the clocks of nodes are behind (above 0) or ahead of the hub's."""
    return dict(database.ask(
        "SELECT node, received_ms - at_ms FROM standing WHERE tenant = ?"
        " AND abs(received_ms - at_ms) > ?", (tenant, CLOCK_OFF_MS),
    ))  # fmt: skip


def _corrective(
    database: Database, tenant: int, from_ms: int, to_ms: int
) -> list[tuple[int, int, str, str]]:
    """Return corrective actions: number of the node, when, piece, in words."""
    found = []
    for number, utc_ms, *_, text, _run, _seq, initials in _entries(
        database, tenant, "kind = 'corrective-taken'", from_ms, to_ms
    ):
        said = json.loads(text)
        parts = (str(said.get(part, "")) for part in ("cause", "control_restored", "disposition"))
        words = f"{'; '.join(parts)} ({initials or 'unsigned'})."
        found.append((number, utc_ms, str(said.get("piece", "")), words))
    return found


@dataclass(frozen=True, slots=True)
class ConflictRow:
    """Two records of one identity that say different things; the first is the record."""

    node: str
    at_ms: int
    what: str
    identity: str
    kept: str
    given: str


def conflicts(database: Database, tenant: int, most: int = 100) -> list[ConflictRow]:
    """Return contradictions, the newest first."""
    rows = database.ask(
        "SELECT node.name, at_ms, what, identity, kept, given FROM conflict"
        " JOIN node ON node.id = conflict.node WHERE conflict.tenant = ?"
        " ORDER BY conflict.id DESC LIMIT ?", (tenant, most),
    )  # fmt: skip
    return [ConflictRow(*row) for row in rows]


def piece_yields(
    database: Database, tenant: int, but_of: int = 0
) -> dict[str, dict[str, list[float]]]:
    """Return the logits of servable yield by cut and site. ``but_of``: a site left out."""
    rows = database.ask(
        "SELECT site.name, cut, purchased_mg, servable_mg FROM piece"
        " JOIN site ON site.id = piece.site WHERE piece.tenant = ? AND site.id <> ?"
        " AND purchased_mg > 0 AND servable_mg > 0 AND servable_mg < purchased_mg"
        " ORDER BY cut, site.name", (tenant, but_of),
    )  # fmt: skip
    by_cut: dict[str, dict[str, list[float]]] = defaultdict(lambda: defaultdict(list))
    for site, cut, bought, served in rows:
        by_cut[cut][site].append(logit(served / bought))
    return by_cut


def site_yields(database: Database, tenant: int) -> list[SiteYield]:
    """Return servable yield by cut and site, each site drawn towards the firm by what it lacks.

    Logits of yields; a site's own spread where it has three pieces, else the cut's published
    one. The interval is where four of five means of such a site would lie.
    """
    found = []
    for cut, sites in piece_yields(database, tenant).items():
        means = [statistics.fmean(values) for values in sites.values()]
        prior = cut_prior(cut if cut in CUTS else "other")  # of a newer node
        variances = [_squared_error(values, prior.within) for values in sites.values()]
        pooled = shrink([*means, prior.logit], [*variances, prior.between**2])
        for (site, values), mean, shrunk, variance in zip(
            sites.items(), means, pooled.groups, pooled.variances, strict=False
        ):
            reach = 1.2816 * math.sqrt(variance)
            found.append(SiteYield(
                site, cut, len(values), expit(mean), expit(shrunk),
                expit(shrunk - reach), expit(shrunk + reach),
            ))  # fmt: skip
    return found


def sentence(rows: Iterable[SiteYield]) -> str:
    """Return what the yields of the sites amount to, in words; of one cut alone."""
    by_cut: dict[str, list[SiteYield]] = defaultdict(list)
    for row in rows:
        if row.pieces >= LEAST_PIECES:
            by_cut[row.cut].append(row)
    compared = [some for some in by_cut.values() if len(some) > 1]
    if not compared:
        return "Too few pieces were weighed whole at two sites to compare them."
    said = []
    for some in compared:
        best, worst = max(some, key=lambda r: r.shrunk), min(some, key=lambda r: r.shrunk)
        if best.low > worst.high:
            said.append(
                f"{best.site} serves more of a {best.cut} than {worst.site}:"
                f" {show_share(best.shrunk)} against {show_share(worst.shrunk)} of what was bought."
            )
    return " ".join(said) or "What the sites yield differs by no more than chance would make it."


def nodes(database: Database, tenant: int) -> list[NodeHealth]:
    """Return the nodes of a firm."""
    rows = database.ask(
        "SELECT node.id, uid, node.name, site.name, state, version, received_ms,"
        " (SELECT count(*) FROM journal WHERE journal.node = node.id),"
        " (SELECT count(*) FROM conflict WHERE conflict.node = node.id), cloned_ms, cert_until_ms"
        " FROM node JOIN site ON site.id = node.site WHERE node.tenant = ? ORDER BY site.name,"
        " node.name", (tenant,),
    )  # fmt: skip
    off = _clocks_off(database, tenant)
    return [replace(NodeHealth(*row[1:]), clock_off_ms=off.get(row[0], 0)) for row in rows]


def _squared_error(values: list[float], within: float) -> float:
    """Return the squared standard error of a mean of logits."""
    spread = statistics.variance(values) if len(values) >= 3 else within**2
    return max(spread, 1e-6) / len(values)
