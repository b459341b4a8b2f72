"""A hub is found on the local network by the code alone; who else answers is passed over."""

from __future__ import annotations

import pytest

from pitlogger.errors import UsageError
from pitlogger.formats.join_code import HALF, written_code
from pitlogger.model.entry_ids import ALPHABET
from pitlogger.uplink.discovery import announced, find_by_code, find_hubs

pytest.importorskip("zeroconf")
HERE = ("127.0.0.1",)
OURS, OTHERS = ALPHABET[5] * HALF, ALPHABET[6] * HALF
SECRET = ALPHABET[7] * HALF


async def test_the_hub_of_a_code_is_found_among_several() -> None:
    async with (
        announced("https://127.0.0.1:8443", "smokehouse & co", OURS, HERE),
        announced("https://127.0.0.1:9443", "smokehouse & co", OTHERS, HERE),
    ):
        found = {hub.letters: hub.address for hub in await find_hubs(interfaces=HERE)}
        ours = {OURS: "https://127.0.0.1:8443", OTHERS: "https://127.0.0.1:9443"}
        assert found.items() >= ours.items()  # and whatever else announces itself on this machine
        code = written_code(OTHERS, SECRET)
        assert await find_by_code(code, HERE) == "https://127.0.0.1:9443"


async def test_where_it_does_not_answer_it_is_said_what_to_do() -> None:
    async with announced("https://127.0.0.1:9443", "x", OTHERS, HERE):
        with pytest.raises(UsageError, match=r"no hub of this code .* name the hub's address"):
            await find_by_code(written_code(OURS, SECRET), HERE)
    with pytest.raises(UsageError):
        await find_by_code("nonsense", HERE)
