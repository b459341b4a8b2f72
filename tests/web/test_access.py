"""Who may look, who may act; what does not come from our own page is turned away."""

from __future__ import annotations

from pathlib import Path

import httpx
import pytest

from pitlogger.clock import monotonic_ms
from pitlogger.config import parse_config
from pitlogger.service.names import own_names
from pitlogger.web.access.access import Access
from pitlogger.web.access.codes import GOOD_FOR_MS, Codes
from pitlogger.web.access.hosts import is_own
from pitlogger.web.access.keyring import SLIDES_MS, Keyring
from pitlogger.web.access.rates import Rates
from pitlogger.web.access.roles import Role
from pitlogger.web.page.statics import load_statics
from tests.web.conftest import BASE, Node, make_node

STATUS = "/api/v1/status"
NOTES = "/api/v1/notes"
FORM = {"Content-Type": "application/x-www-form-urlencoded"}


async def test_without_a_key_nothing_is_read(node: Node) -> None:
    assert (await node.network.get(STATUS)).status_code == 401


async def test_a_browser_without_a_key_is_led_to_pairing(node: Node) -> None:
    answer = await node.network.get("/", headers={"Accept": "text/html"})
    assert (answer.status_code, answer.headers["location"]) == (303, "/pair")


async def test_the_unix_socket_needs_no_key(node: Node) -> None:
    assert (await node.local.get(STATUS)).status_code == 200


async def test_open_read_lets_anybody_look_and_nobody_act(tmp_path: Path) -> None:
    async with make_node(tmp_path, "open_read = true\n") as node:
        assert (await node.network.get(STATUS)).status_code == 200
        answer = await node.network.post(NOTES, json={"text": "x"}, headers={"Origin": BASE})
        assert answer.status_code == 401


async def test_a_foreign_host_name_is_misdirected_even_with_a_key(node: Node) -> None:
    answer = await node.network.get(STATUS, headers={**node.cookie(), "Host": "evil.example"})
    assert answer.status_code == 421


async def test_the_stream_checks_the_host_too(node: Node) -> None:
    headers = {**node.cookie(), "Host": "evil.example"}
    assert (await node.network.get("/api/v1/stream", headers=headers)).status_code == 421


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "", "https://pit.test:8130"])
async def test_a_write_from_another_origin_is_refused_and_nothing_written(
    node: Node, origin: str
) -> None:
    await node.begin()
    before = len(node.daemon.engine.state.entries)
    headers = {**node.cookie(), "Origin": origin}
    answer = await node.network.post(NOTES, json={"text": "x"}, headers=headers)
    assert answer.status_code == 403
    assert len(node.daemon.engine.state.entries) == before


async def test_a_write_from_the_page_is_taken_and_carries_the_initials(node: Node) -> None:
    await node.begin()
    answer = await node.network.post(NOTES, json={"text": "bark is soft"}, headers=node.cookie())
    assert (answer.status_code, answer.json()["by"]) == (200, "AK")


async def test_a_form_as_api_body_is_refused(node: Node) -> None:
    headers = {**node.cookie(), **FORM}
    answer = await node.network.post(NOTES, content="text=x", headers=headers)
    assert answer.status_code == 415


async def test_a_program_writes_with_its_token_and_no_origin(node: Node) -> None:
    await node.begin()
    made = await node.local.post("/api/v1/programs", json={"name": "book", "role": "hands"})
    headers = {"Authorization": f"Bearer {made.json()['token']}"}
    answer = await node.network.post(NOTES, json={"text": "x"}, headers=headers)
    assert answer.status_code == 200


@pytest.mark.parametrize(
    ("role", "path", "status"),
    [
        (Role.LOOK, NOTES, 403),
        (Role.HANDS, NOTES, 200),
        (Role.HANDS, "/api/v1/phones/codes", 403),
        (Role.OWNER, "/api/v1/phones/codes", 200),
    ],
)
async def test_each_role_does_what_it_may(node: Node, role: Role, path: str, status: int) -> None:
    await node.begin()
    body = {"text": "x"} if path == NOTES else {"role": "look"}
    answer = await node.network.post(path, json=body, headers=node.cookie(role))
    assert answer.status_code == status


async def test_only_an_owner_lists_the_phones(node: Node) -> None:
    answer = await node.network.get("/api/v1/phones", headers=node.cookie(Role.HANDS))
    assert answer.status_code == 403


async def test_a_code_pairs_once(node: Node) -> None:
    code = node.access.invite(Role.HANDS)
    form = {"code": code.lower(), "name": "barn phone", "by": "MO"}
    first = await node.network.post("/pair", data=form, headers={"Origin": BASE})
    assert first.status_code == 303
    cookie = first.headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=strict" in cookie
    key = cookie.partition("=")[2].partition(";")[0]
    me = await node.network.get("/api/v1/me", headers={"Cookie": f"pitlogger={key}"})
    assert me.json() == {"name": "barn phone", "initials": "MO", "role": "hands"}
    second = await node.network.post("/pair", data=form, headers={"Origin": BASE})
    assert second.status_code == 403


async def test_a_key_on_disk_is_only_its_digest(node: Node, tmp_path: Path) -> None:
    key = node.cookie()["Cookie"].partition("=")[2]
    path = tmp_path / "phones.json"
    assert key not in path.read_text()
    assert path.stat().st_mode & 0o077 == 0


async def test_a_removed_phone_is_shut_out_at_once_and_stays_listed(node: Node) -> None:
    headers = node.cookie(Role.HANDS)
    assert (await node.network.get(STATUS, headers=headers)).status_code == 200
    gone = await node.local.post("/api/v1/phones/kitchen/remove", json={})
    assert gone.json()["removed_by"] == "command line"
    assert (await node.network.get(STATUS, headers=headers)).status_code == 401
    assert [row["name"] for row in (await node.local.get("/api/v1/phones")).json()] == ["kitchen"]


async def test_a_large_body_is_refused(node: Node) -> None:
    body = {"text": "x" * 70_000}
    answer = await node.network.post(NOTES, json=body, headers=node.cookie())
    assert answer.status_code == 413


async def test_writes_are_limited(node: Node) -> None:
    headers = node.cookie()
    codes = [
        (await node.network.post(NOTES, json={"text": "x"}, headers=headers)).status_code
        for _ in range(40)
    ]
    assert 429 in codes


async def test_every_answer_carries_the_headers_even_a_refusal(node: Node) -> None:
    for path in ("/pair", STATUS):
        headers = (await node.network.get(path)).headers
        assert "default-src 'self'" in headers["content-security-policy"]
        assert "unsafe" not in headers["content-security-policy"]
        assert headers["x-content-type-options"] == "nosniff"
        assert "access-control-allow-origin" not in headers


async def test_no_screen_holds_script_or_style_of_its_own(node: Node) -> None:
    await node.begin()
    for path in ("/", "/weigh", "/weights", "/alarms"):
        text = (await node.network.get(path, headers=node.cookie())).text
        sheet = f"<style>{load_statics().sheet()}</style>"  # allowed by its hash, and no other
        assert text.count(sheet) == 1
        text = text.replace(sheet, "")
        assert "<style" not in text
        assert " style=" not in text
        assert "<script>" not in text
        assert " onclick" not in text


async def test_names_are_escaped(node: Node) -> None:
    await node.begin()
    await node.local.post("/api/v1/pieces", json={"piece": {"id": "butt-1", "cut": "pork-butt"}})
    note = {"text": "<img src=x onerror=alert(1)>", "piece": "butt-1"}
    await node.local.post(NOTES, json=note)
    text = (await node.network.get("/", headers=node.cookie())).text
    assert "<img" not in text


def test_wrong_tries_void_no_code() -> None:
    codes = Codes()
    code = codes.make(Role.HANDS, 0)
    for _ in range(200):
        assert codes.take("00000000", 0) is None
    assert codes.take(code, 0) is Role.HANDS


def test_a_code_is_good_for_ten_minutes() -> None:
    codes = Codes()
    code = codes.make(Role.LOOK, 0)
    assert codes.take(code, GOOD_FOR_MS) is None
    code = codes.make(Role.LOOK, 0)
    assert codes.take(code, GOOD_FOR_MS - 1) is Role.LOOK


def test_a_typed_code_may_have_dashes_small_letters_and_look_alikes() -> None:
    codes = Codes()
    code = codes.make(Role.LOOK, 0)
    typed = f" {code[:4].lower()}-{code[4:].lower()} ".replace("0", "o").replace("1", "l")
    assert codes.take(typed, 0) is Role.LOOK


def test_a_phone_not_seen_for_ninety_days_is_forgotten(tmp_path: Path) -> None:
    keys = Keyring(tmp_path / "phones.json")
    _, key = keys.add("phone", "kitchen", "", Role.LOOK, 0)
    assert keys.find(key, SLIDES_MS) is not None
    assert keys.find(key, SLIDES_MS + SLIDES_MS) is not None  # seen again in between
    assert keys.find(key, 4 * SLIDES_MS) is None


def test_a_clock_set_back_forgets_nobody(tmp_path: Path) -> None:
    keys = Keyring(tmp_path / "phones.json")
    _, key = keys.add("phone", "kitchen", "", Role.LOOK, SLIDES_MS * 10)
    assert keys.find(key, 0) is not None


def test_keys_are_known_after_a_restart(tmp_path: Path) -> None:
    path = tmp_path / "phones.json"
    _, key = Keyring(path).add("phone", "kitchen", "AK", Role.HANDS, 5)
    held = Keyring(path).find(key, 6)
    assert held is not None
    assert (held.name, held.initials, held.role) == ("kitchen", "AK", Role.HANDS)


@pytest.mark.parametrize(
    "content", [b"", b"{", b'{"phones": [{"id": 1}]}', b'{"phones": 5}', b"[]", b"\xff\xfe\x00"]
)
def test_a_broken_list_of_phones_is_set_aside_and_told(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "phones.json").write_bytes(content)
    access = Access(parse_config(f'[node]\ndata = "{tmp_path}"\n'))
    assert "phones.json could not be read" in access.keys.broken
    (aside,) = tmp_path.glob("phones.json.broken-*")
    assert aside.read_bytes() == content
    access.keys.add("phone", "kitchen", "", Role.LOOK, 0)
    assert Keyring(tmp_path / "phones.json").broken == ""


@pytest.mark.parametrize(
    ("header", "local", "own"),
    [
        ("localhost:8130", "127.0.0.1", True),
        ("127.0.0.1", "127.0.0.1", True),
        ("[::1]:8130", "::1", True),
        ("192.0.2.7:8130", "192.0.2.7", True),
        ("192.0.2.7", "::ffff:192.0.2.7", True),
        ("192.0.2.8", "192.0.2.7", False),
        ("PIT.test.", "192.0.2.7", True),
        ("pit.test.evil.example", "192.0.2.7", False),
        ("evil.example", "127.0.0.1", False),
        ("", "127.0.0.1", False),
    ],
)
def test_the_host_is_one_of_our_names_or_the_address_it_came_in_at(
    header: str, local: str, own: bool
) -> None:
    assert is_own(header, local, own_names(("pit.test",))) is own


def test_a_bucket_refills() -> None:
    rates = Rates(per_s=1.0, burst=2.0)
    assert [rates.allows("a", 0.0) for _ in range(3)] == [True, True, False]
    assert rates.allows("b", 0.0)
    assert rates.allows("a", 1.0)


async def test_pairing_is_refused_from_another_site(node: Node) -> None:
    code = node.access.invite(Role.OWNER)
    answer = await node.network.post(
        "/pair", data={"code": code, "name": "x"}, headers={"Origin": "http://evil.example"}
    )
    assert answer.status_code == 403
    assert node.access.codes.take(code, monotonic_ms()) is Role.OWNER


async def test_wrong_codes_slow_down_who_tries_and_nobody_else(node: Node) -> None:
    async def answer(code: str, address: str) -> httpx.Response:
        gate = node.network._transport.app  # type: ignore[attr-defined]
        transport = httpx.ASGITransport(gate, client=(address, 5000))
        async with httpx.AsyncClient(transport=transport, base_url=BASE) as client:
            form = {"code": code, "name": "x"}
            return await client.post("/pair", data=form, headers={"Origin": BASE})

    code = node.access.invite(Role.OWNER)
    tries = [await answer("AAAAAAAA", "192.0.2.9") for _ in range(8)]
    assert [each.status_code for each in tries] == [403] * 5 + [429] * 3
    assert tries[-1].headers["retry-after"] == "5"
    assert (await answer(code, "192.0.2.10")).status_code == 303


async def test_wrong_tokens_are_slowed_down_and_the_right_one_is_not(node: Node) -> None:
    async def status(key: str) -> int:
        headers = {"Authorization": f"Bearer {key}"}
        return (await node.network.get(STATUS, headers=headers)).status_code

    _, key = node.access.admit("program", "book", Role.LOOK)
    codes = [await status(f"wrong-{number}") for number in range(100)]
    assert set(codes) == {401, 429}
    assert codes[-1] == 429
    assert await status(key) == 200


def test_who_asks_last_stays_known_however_many_ask() -> None:
    rates = Rates(per_s=0.001, burst=1.0)
    assert rates.allows("attacker", 0.0)
    for number in range(5000):
        rates.allows(f"address {number}", 0.0)
        assert not rates.allows("attacker", 0.0)


def test_access_is_made_from_the_configuration(tmp_path: Path) -> None:
    access = Access(parse_config(f'[node]\ndata = "{tmp_path}"\n[web]\nnames = ["barn.lan"]\n'))
    assert "barn.lan" in access.names


async def test_a_log_holds_no_code(node: Node, capsys: pytest.CaptureFixture[str]) -> None:
    from pitlogger.cli.installation.run import _greet
    from pitlogger.web.front import WebFront

    address = f"{BASE}/pair#{node.access.invite(Role.OWNER)}"
    _greet(node.daemon, WebFront(node.daemon.config, node.access), address)
    said = capsys.readouterr().err
    assert "pitlogger pair" in said
    assert "#" not in said
    assert "pairing code" not in said
