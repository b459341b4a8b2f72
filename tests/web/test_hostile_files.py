"""Files that are none: answered in words, nothing of them on record; what was pasted stays."""

from __future__ import annotations

import base64
import io
import random
import re
import zipfile

import pytest

from tests.web.conftest import Node

HTML = {"Accept": "text/html"}
GOOD = "date,cut,purchased,served\n2026-05-02,brisket-packer,14.2 lb,7.05 lb\n"
_RNG = random.Random(18)


def _zipped(**members: bytes) -> bytes:
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w") as archive:
        for name, held in members.items():
            archive.writestr(name.replace("__", "/"), held)
    return made.getvalue()


FILES: dict[str, bytes] = {
    "one-byte.csv": b"x",
    "blank.csv": b"\n\n\n",
    "only-a-head.csv": b"date,cut,purchased,served\n",
    "zeros.csv": bytes(4096),
    "noise.csv": _RNG.randbytes(20_000),
    "noise.xlsx": _RNG.randbytes(20_000),
    "picture.csv": b"\x89PNG\r\n\x1a\n" + _RNG.randbytes(2000),
    "pdf.csv": b"%PDF-1.7\n" + _RNG.randbytes(500),
    "script.csv": b"#!/bin/sh\nrm -rf /\n",
    "page.csv": b"<html><script>alert(1)</script></html>",
    "empty.xlsx": _zipped(),
    "not-a-book.xlsx": _zipped(hello=b"world"),
    "broken-book.xlsx": _zipped(**{"xl__workbook.xml": b"<workbook", "[Content_Types].xml": b"<"}),
    "torn.xlsx": _zipped(**{"xl__workbook.xml": b"<workbook/>"})[:-30],
    "utf8-broken.csv": GOOD.encode().replace(b"brisket", b"bris\xff\xfeket"),
    "utf8-cut.csv": GOOD.encode() + "2026-05-09,ü".encode()[:-1],
    "utf16-odd.csv": GOOD.encode("utf-16")[:-1],
    "utf16-nul.csv": GOOD.encode("utf-16-be"),
    "formulas.csv": GOOD.replace("7.05 lb", "=HYPERLINK(\"http://x\",1)").encode(),
    "command.csv": GOOD.replace("14.2 lb", "=cmd|' /C calc'!A0").encode(),
    "no-cut.csv": b"date,purchased,served\n2026-05-02,14.2 lb,7.05 lb\n",
    "no-mass.csv": b"date,cut\n2026-05-02,brisket-packer\n",
    "titles-twice.csv": GOOD.replace("served", "purchased").encode(),
    "half-good.csv": GOOD.encode() + b"2026-05-09,brisket-packer,heavy,light\n",
    "upside-down.csv": GOOD.replace("7.05 lb", "70.5 lb").encode(),
    "wide.csv": b",".join([b"a"] * 5000) + b"\n" + b",".join([b"1"] * 5000),
    "long-cell.csv": GOOD.replace("brisket-packer", "b" * 200_000).encode(),
    "quote-open.csv": GOOD.encode() + b'2026-05-09,"brisket-packer,13 lb,7 lb\n',
    "many.csv": GOOD.encode() + b"2026-05-09,brisket-packer,13 lb,7 lb\n" * 25_000,
    "bell.csv": GOOD.replace("brisket-packer", "bris\x07\x1bket").encode(),
    "turned.csv": GOOD.replace("brisket-packer", "\u202ebrisket\u2066").encode(),
    "other-kind.csv": b'[cook]\nname = "supper"\n[[piece]]\nid = "b"\ncut = "brisket-packer"\n',
    "capture.csv": b'[{"bn":"pit","t":1,"u":"Cel","v":100}]\n',
    "../../../etc/passwd": b"root:x:0:0\n",
    "n" * 500 + ".csv": b"x,y\n1,2\n",
    "<b>bold</b>.csv": b"x,y\n1,2\n",
}  # fmt: skip
_EACH = [pytest.param(name, held, id=name[:40]) for name, held in FILES.items()]


async def _send(node: Node, **fields: str) -> tuple[int, str]:
    answer = await node.network.post("/import", data=fields, headers={**node.cookie(), **HTML})
    return answer.status_code, answer.text


def _content(held: bytes) -> str:
    return base64.urlsafe_b64encode(held).decode().rstrip("=")


async def _cooks(node: Node) -> int:
    await node.daemon.flushed()
    return len((await node.local.get("/api/v1/cooks")).json())


@pytest.mark.parametrize(("name", "held"), _EACH)
async def test_a_file_that_is_none_is_told_in_words_and_imports_nothing(
    node: Node, name: str, held: bytes
) -> None:
    for confirm in ("", "yes"):
        status, text = await _send(node, content=_content(held), file=name, confirm=confirm)
        assert status in (200, 400, 409), text
        main = re.sub(r"<[^>]+>", " ", text[text.index("<main") :])
        assert len(" ".join(main.split())) < 6000, "no message over a screen"
        assert "Traceback" not in text
        assert "<b>bold" not in text
        assert "codec" not in main
        assert "Error" not in main
    assert await _cooks(node) in (0, 1 if status == 200 else 0)


@pytest.mark.parametrize("name", ["half-good.csv", "formulas.csv", "command.csv", "utf16-odd.csv"])
async def test_no_row_of_a_file_with_a_faulty_one_is_on_record(node: Node, name: str) -> None:
    confirm = "yes; month first: 2026-05-02"
    status, _ = await _send(node, content=_content(FILES[name]), file=name, confirm=confirm)
    assert status in (400, 409)
    assert await _cooks(node) == 0


async def test_an_empty_file_is_said_to_be_empty(node: Node) -> None:
    status, text = await _send(node, content="", file="weights.csv")
    assert status == 400
    assert "weights.csv is empty" in text


async def test_what_was_pasted_stays_in_its_field_with_what_is_wrong(node: Node) -> None:
    pasted = "when,what\nyesterday,beef & <b>beans</b>\n"
    status, text = await _send(node, pasted=pasted, confirm="yes")
    assert status == 400
    assert "yesterday,beef &amp; &lt;b&gt;beans&lt;/b&gt;" in text
    assert 'data-at-fault="pasted"' in text


async def test_a_file_over_the_limit_is_told_so(node: Node) -> None:
    status, text = await _send(node, content="A" * 5_000_000, file="huge.csv")
    assert status == 413
    assert "larger than" in text


async def test_the_same_file_twice_is_one_import(node: Node) -> None:
    content = _content(GOOD.encode())
    for _ in range(2):
        status, text = await _send(node, content=content, file="a.csv", confirm="yes")
        assert status == 200, text
    assert "nothing is new" in text
    assert await _cooks(node) == 1
