"""Signed by an enrolled node and hostile: the good beside it go in, every page opens."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Callable
from dataclasses import replace
from types import SimpleNamespace
from typing import Any, cast

import cbor2
import pytest

from pitlogger.formats.bundle import Bundle, ClockPart, NowPart, dump_bundle, load_bundle
from pitlogger.formats.cose import sign
from pitlogger.hub.fold import fold_cooks
from pitlogger.hub.ingest import Ingest
from pitlogger.hub.members import OWNER, Member
from pitlogger.hub.writing import HubSink
from pitlogger.web.fleet.firm_page import cook_page, firm_page
from pitlogger.web.fleet.open_hub import OpenHub
from tests.fleet.conftest import taking_in
from tests.fleet.made import START_MS
from tests.fleet.test_hostile import (
    OTHER_KEY,
    OTHER_UID,
    UID,
    changed_map,
    good,
    own,
    sink,
    with_entry,
)  # fmt: skip

__all__ = ["good", "sink"]
MOST = 1 << 62
STANDS: dict[str, list[Any]] = {"pieces": [], "pits": [], "alerts": []}


def said(good: Bundle, **changes: Any) -> bytes:
    """Return a bundle whose first entry says other things, in its columns too."""
    text = {**json.loads(good.entries[0].text), **changes}
    columns = {name: text[name] for name in ("seq", "t_ms", "kind")}
    return own(dump_bundle(with_entry(good, text=json.dumps(text), **columns)))


def raw(good: Bundle, name: str, value: bytes) -> bytes:
    """Return a bundle with one value of its map as these bytes."""
    mark = b"\x78\x20" + b"?" * 32
    return own(changed_map(good, **{name: "?" * 32}).replace(mark, value))


def shared(good: Bundle) -> bytes:
    """Return a bundle whose spans hold one long value a thousand times by reference."""
    parts = [cbor2.dumps(getattr(good.spans[0], name))
             for name in type(good.spans[0]).__dataclass_fields__]  # fmt: skip
    long, again = b"\xd8\x1c" + cbor2.dumps(b"\0" * 60_000), b"\xd8\x1d\x00"
    rows = [b"".join((b"\x8a", *parts[:2], cbor2.dumps(START_MS + at * 600_000), *parts[3:5],
                      again if at else long, *parts[6:])) for at in range(1000)]  # fmt: skip
    return raw(good, "s", b"\x99\x03\xe8" + b"".join(rows))


def now(good: Bundle, text: object, t_ms: int = START_MS) -> bytes:
    part = NowPart(t_ms, 0, text if isinstance(text, str) else json.dumps(text))
    return own(dump_bundle(replace(good, entries=(), spans=(), now=part)))


Make = Callable[[Bundle], bytes]
REFUSED: dict[str, Make] = {
    "a float that is none": lambda g: own(changed_map(g, n=float("nan"))),
    "a float that is whole": lambda g: own(changed_map(g, run=1.0)),
    "undefined": lambda g: raw(g, "n", b"\xf7"),
    "a simple value": lambda g: raw(g, "run", b"\xf8\xff"),
    "a date for a number": lambda g: raw(g, "n", b"\xc1\x1a\x65\x00\x00\x00"),
    "a number as a bignum of 200 kB": lambda g: raw(
        g, "n", b"\xc2\x5a\x00\x03\x00\x00" + b"\xff" * 196_608
    ),
    "a rational over nothing": lambda g: raw(g, "n", b"\xd8\x1e\x82\x01\x00"),
    "a list that holds itself": lambda g: raw(g, "j", b"\xd8\x1c\x81\xd8\x1d\x00"),
    "a list without an end": lambda g: own(changed_map(g, zz=1)[:-1] + b"\x9f"),
    "a length of 2^56": lambda g: raw(g, "s", b"\x9b\x00\xff\xff\xff\xff\xff\xff\xff"),
    "one value a thousand times": shared,
    "a tag around the bundle": lambda g: own(b"\xd8\x2a" + dump_bundle(g)),
    "a set for a list": lambda g: raw(g, "lost", b"\xd9\x01\x02\x80"),
    "a revision at 2^63": lambda g: own(dump_bundle(replace(g, row=replace(g.row, rev=1 << 63)))),
    "a time at 2^61": lambda g: said(g, t_ms=1 << 61),
    "a time before all": lambda g: said(g, t_ms=-(1 << 61)),
    "an offset of ages": lambda g: own(
        dump_bundle(replace(g, clocks=(ClockPart(START_MS, -(1 << 60), True, 3),)))
    ),
    "an end of ages": lambda g: own(dump_bundle(replace(g, row=replace(g.row, end_ms=MOST - 1)))),
    "true for a sequence": lambda g: said(g, seq=True),
    "text not of its kind": lambda g: own(dump_bundle(with_entry(g, kind="noted"))),
    "a text with NaN": lambda g: said(g, extra=float("nan")),
    "a text nested 100 000 deep": lambda g: own(dump_bundle(with_entry(g, text="[" * 100_000))),
    "a text with a number of 5 000 digits": lambda g: own(
        dump_bundle(with_entry(g, text='{"seq":' + "9" * 5000 + "}"))
    ),
    "17 000 runs to look for": lambda g: own(
        changed_map(g, s=[], j=[], held=[["r", 0, 0, 0, 0, 0]] * 17_000)
    ),
    "how it stands, no map": lambda g: now(g, "[]"),
    "how it stands, no pieces": lambda g: now(g, {}),
    "how it stands, a stage that is a list": lambda g: now(
        g, {**STANDS, "pieces": [{"id": "a", "stage": [], "core_mc": None}]}
    ),
    "how it stands, degrees of NaN": lambda g: now(g, {**STANDS, "pits": [{"mc": float("nan")}]}),
    "how it stands, since ages": lambda g: now(
        g, {**STANDS, "alerts": [{"kind": "x", "subject": "", "since_ms": 1 << 60}]}
    ),
}
# What a node of another version may say: taken, and nothing that is shown breaks by it.
TAKEN: dict[str, Make] = {
    "keys twice": lambda g: own(b"\xac" + changed_map(g)[1:] + b"\x61v\x01"),
    "a map without a length": lambda g: own(b"\xbf" + dump_bundle(g)[1:] + b"\xff"),
    "a time before 1970": lambda g: said(g, seq=901, t_ms=-5),
    "a stage of no cook": lambda g: said(g, seq=902, kind="stage-set", stage="flying"),
    "an alert without its name": lambda g: said(g, seq=903, kind="alert-changed"),
    "an alert that is a list": lambda g: said(
        g, seq=904, kind="alert-changed", alert=[], now={}, alert_kind=7, message=None
    ),
    "corrective action about nothing": lambda g: said(g, seq=905, kind="corrective-taken"),
    "a name with a zero byte": lambda g: named(g, "a\0b"),
    "a name of half a letter": lambda g: named(g, "\ud800"),
    "a mass beyond all": lambda g: said(
        g, seq=906, kind="weighed", checkpoint="carved", piece="brisket-1", gross_mg=1 << 70
    ),
    "how it stands in 1414": lambda g: now(g, STANDS, 1 - (1 << 44)),
}


def named(good: Bundle, name: str) -> bytes:
    """Return the start of a cook of this name, as a cook of its own."""
    text = json.loads(good.entries[0].text)
    cook = {**text["cook"], "name": name}
    entry = replace(good.entries[0], cook=f"cook {len(name)}", seq=900 + len(name),
                    text=json.dumps({**text, "seq": 900 + len(name), "cook": cook}))  # fmt: skip
    return own(dump_bundle(replace(good, entries=(entry,), spans=())))


@pytest.fixture
async def ingest(sink: HubSink) -> AsyncIterator[Ingest]:
    async with taking_in(
        sink, lambda outcome, at_ms: fold_cooks(sink.database, outcome), gather_s=0.05
    ) as made:
        yield made


async def test_the_good_go_in_and_every_page_opens(
    good: Bundle, sink: HubSink, ingest: Ingest
) -> None:
    other = sign(dump_bundle(replace(good, node=OTHER_UID)), OTHER_KEY, OTHER_UID)
    sent = [(name, make(good)) for name, make in (REFUSED | TAKEN).items()]
    answers = await asyncio.gather(
        *(ingest.submit(UID, message) for _, message in sent), ingest.submit(OTHER_UID, other)
    )
    for (name, _), answer in zip(sent, answers, strict=False):
        assert bool(answer.refused) == (name in REFUSED), (name, answer)
        assert all(reason for _, reason in answer.refused), name
        assert bool(answer.received) == (name in TAKEN), (name, answer)
    assert answers[-1].received == (good.number,)
    cooks = sink.database.ask("SELECT uid, cook FROM cook JOIN node ON node.id = cook.node")
    assert (OTHER_UID, "supper") in cooks
    hub = cast(OpenHub, SimpleNamespace(ingest=ingest, firm="own", tenant=1))
    owner = Member(0, 1, "", OWNER, (), None)
    shown = await firm_page(hub, owner)
    assert shown.status_code == 200
    for uid, cook in cooks:
        assert (await cook_page(hub, owner, uid, cook)).status_code == 200
    assert load_bundle(dump_bundle(good)) == good
