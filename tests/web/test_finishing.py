"""Finishing a cook and signing its log: what is asked, what is refused."""

from __future__ import annotations

from tests.web.conftest import COOK, Node
from tests.web.test_corrections import HOUR_MS, post


async def held_hot(node: Node) -> None:
    await post(node, "/cooks", toml=COOK)
    await post(node, "/stages", piece="brisket-1", stage="smoking")
    node.clock.advance(8 * HOUR_MS)
    await post(node, "/stages", piece="brisket-1", stage="holding")


async def test_a_cook_is_not_finished_while_nobody_said_what_became_of_its_food(
    node: Node,
) -> None:
    await held_hot(node)
    asked = await post(node, "/cooks/finish", status=409)
    assert "brisket-1" in asked["question"]
    assert asked["options"] == ["served or handed over", "chilled", "discarded"]
    assert node.daemon.engine.book.finished_ms is None
    await post(node, "/cooks/finish", confirm="discarded")
    book = node.daemon.engine.book
    assert book.finished_ms is not None
    assert book.pieces["brisket-1"].stage == "discarded"


async def test_a_cook_is_not_finished_over_meat_on_the_pit(node: Node) -> None:
    await post(node, "/cooks", toml=COOK)
    await post(node, "/stages", piece="brisket-1", stage="smoking")
    node.clock.advance(8 * HOUR_MS)
    asked = await post(node, "/cooks/finish", status=409)
    assert "brisket-1 (on the pit)" in asked["question"]
    assert node.daemon.engine.book.finished_ms is None
    await post(node, "/cooks/finish", confirm="served or handed over")
    held = node.daemon.engine.book.pieces["brisket-1"]
    assert (held.stage, held.marks[-1].timed) == ("served", "unrecorded")


async def test_when_food_was_served_is_not_when_the_cook_was_finished(node: Node) -> None:
    await held_hot(node)
    await post(node, "/cooks/finish", confirm="served or handed over")
    assert node.daemon.engine.book.pieces["brisket-1"].marks[-1].timed == "unrecorded"


async def test_a_log_is_not_signed_while_a_limit_not_met_has_no_answer(node: Node) -> None:
    await held_hot(node)
    await post(node, "/temps", piece="brisket-1", value="120F", by="AB")
    await node.daemon.flushed()
    refused = await post(node, "/log/sign", status=409, by="CD")
    assert "without corrective action" in refused["error"]
    assert "brisket-1" in refused["error"]
    await post(
        node, "/log/corrective", piece="brisket-1", cause="lid open", control_restored="shut",
        prevention="timer", disposition="discarded", by="AB", alert="hot-hold-low/brisket-1",
    )  # fmt: skip
    await node.daemon.flushed()
    told = await post(node, "/log/sign", status=400, by="CD", pin="4711")
    assert "PIN" in told["error"]
    await post(node, "/log/signers", by="CD", name="C. Dorn", pin="4711")
    told = await post(node, "/log/sign", status=409, by="CD", pin="4712")
    assert "not the PIN of C. Dorn" in told["error"]
    asked = await post(node, "/log/sign", status=409, by="CD", pin="4711")
    assert "is not shown" in asked["question"]
    await post(node, "/log/sign", by="CD", pin="4711", confirm=asked["confirm"])
