"""Each way against a real server or program; what goes wrong is told in words."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from email.message import Message as Mail
from pathlib import Path
from typing import Any

import pytest
from aiosmtpd.controller import Controller

from pitlogger.config import parse_config
from pitlogger.config_notify import AnyWay, SounderTable
from pitlogger.errors import DeliveryError
from pitlogger.model.alerts import Priority
from pitlogger.notify.ways.make import make_way
from pitlogger.notify.ways.sounder import Sounder
from pitlogger.notify.ways.way import Way
from tests.notify.conftest import MESSAGE, WebServer, free_port


def table(text: str) -> AnyWay:
    return parse_config(f"[[notify.way]]\n{text}").notify.way[0]


def way(text: str) -> Way:
    return make_way(table(text), None)


@pytest.fixture
def secret(tmp_path: Path) -> Path:
    path = tmp_path / "token"
    path.write_text("s3cret\n", encoding="utf-8")
    path.chmod(0o600)
    return path


# -- HTTP -----------------------------------------------------------------------------------


async def test_ntfy_gets_topic_title_text_and_the_highest_priority(
    web_server: WebServer, secret: Path
) -> None:
    sender = way(f'kind="ntfy"\nurl="{web_server.url}/pit"\ntoken_file="{secret}"')
    assert await sender.send(MESSAGE) == "the server took it (200)"
    got = web_server.taken[0]
    assert (got.path, got.headers["Authorization"]) == ("/", "Bearer s3cret")
    assert got.document == {
        "topic": "pit", "title": MESSAGE.title, "message": MESSAGE.text, "priority": 5,
    }  # fmt: skip


async def test_gotify_gets_its_key_in_a_header(web_server: WebServer, secret: Path) -> None:
    await way(f'kind="gotify"\nurl="{web_server.url}"\ntoken_file="{secret}"').send(MESSAGE)
    got = web_server.taken[0]
    assert (got.path, got.headers["X-Gotify-Key"]) == ("/message", "s3cret")


async def test_a_webhook_gets_the_message_id_as_idempotency_key(web_server: WebServer) -> None:
    await way(f'kind="webhook"\nurl="{web_server.url}/hook"').send(MESSAGE)
    got = web_server.taken[0]
    assert got.headers["Idempotency-Key"] == f'"{MESSAGE.id}"'
    assert got.document["at"] == "2026-09-21T14:13:20Z"


@pytest.mark.parametrize(
    ("status", "for_good"),
    [(401, True), (404, True), (408, False), (429, False), (500, False), (503, False)],
)
async def test_a_refusal_is_for_good_only_if_trying_again_cannot_help(
    web_server: WebServer, status: int, for_good: bool
) -> None:
    web_server.status = status
    with pytest.raises(DeliveryError, match=str(status)) as fault:
        await way(f'kind="webhook"\nurl="{web_server.url}/hook"').send(MESSAGE)
    assert fault.value.for_good is for_good


async def test_a_server_that_is_away_is_tried_again() -> None:
    with pytest.raises(DeliveryError, match="cannot be reached") as fault:
        await way('kind="webhook"\nurl="http://127.0.0.1:9/x"').send(MESSAGE)
    assert not fault.value.for_good


@pytest.fixture
def open_secret(secret: Path) -> Path:
    secret.chmod(0o644)
    return secret


async def test_a_secret_everybody_may_read_is_refused(
    web_server: WebServer, open_secret: Path
) -> None:
    asked = f'kind="ntfy"\nurl="{web_server.url}/pit"\ntoken_file="{open_secret}"'
    with pytest.raises(DeliveryError, match="chmod o-r"):
        await way(asked).send(MESSAGE)
    assert not web_server.taken


async def test_an_authority_that_cannot_be_read_is_named() -> None:
    missing = "/no/such/ca.pem"
    with pytest.raises(DeliveryError, match=missing):
        await way(f'kind="webhook"\nurl="https://127.0.0.1:9"\nca_file="{missing}"').send(MESSAGE)


# -- commands -------------------------------------------------------------------------------


def program(tmp_path: Path, body: str) -> str:
    path = tmp_path / "tell"
    path.write_text(f"#!{sys.executable}\nimport json, sys\n{body}\n", encoding="utf-8")
    path.chmod(0o700)
    return f'kind="command"\nargv=["{path}"]\ntimeout_s=5'


async def test_a_command_gets_the_message_as_json(tmp_path: Path) -> None:
    check = "print(json.load(sys.stdin)['text'] + '!'); sys.exit(75)"
    with pytest.raises(DeliveryError, match=r"Do: Add fuel\.!"):
        await way(program(tmp_path, check)).send(MESSAGE)


@pytest.mark.parametrize(("code", "for_good"), [(1, True), (75, False)])
async def test_a_command_says_by_its_code_whether_to_try_again(
    tmp_path: Path, code: int, for_good: bool
) -> None:
    with pytest.raises(DeliveryError, match="no paper") as fault:
        await way(program(tmp_path, f"print('no paper'); sys.exit({code})")).send(MESSAGE)
    assert fault.value.for_good is for_good


async def test_a_command_that_is_not_there_is_named() -> None:
    with pytest.raises(DeliveryError, match="/no/such/program cannot be run"):
        await way('kind="command"\nargv=["/no/such/program"]').send(MESSAGE)


async def test_a_command_that_hangs_is_stopped(tmp_path: Path) -> None:
    hanging = program(tmp_path, "import time; time.sleep(60)").replace("=5", "=0.3")
    with pytest.raises(DeliveryError, match="did not end"):
        await way(hanging).send(MESSAGE)


# -- mail -----------------------------------------------------------------------------------


class Post:
    """Takes mail, or refuses whom it does not know."""

    def __init__(self) -> None:
        self.letters: list[Mail] = []

    async def handle_RCPT(self, server: Any, session: Any, envelope: Any, to: str, _: Any) -> str:
        if to.startswith("nobody"):
            return "550 unknown here"
        envelope.rcpt_tos.append(to)
        return "250 OK"

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:
        from email import message_from_bytes, policy

        self.letters.append(message_from_bytes(envelope.content, policy=policy.default))
        return "250 OK"


@pytest.fixture
def post() -> Iterator[tuple[Post, int]]:
    handler = Post()
    port = free_port()
    controller = Controller(handler, hostname="127.0.0.1", port=port)
    controller.start()
    yield handler, port
    controller.stop()


def mail(port: int, to: str = "cook@example.org") -> str:
    return (
        f'kind="mail"\nhost="127.0.0.1"\nport={port}\nsecurity="none"\n'
        f'sender="pit@example.org"\nto=["{to}"]'
    )


async def test_a_mail_carries_title_text_and_an_id_of_its_own(post: tuple[Post, int]) -> None:
    await way(mail(post[1])).send(MESSAGE)
    letter = post[0].letters[0]
    assert letter["Subject"] == MESSAGE.title
    assert letter.get_content().replace("\r\n", "\n").strip() == MESSAGE.text  # type: ignore[attr-defined]
    assert letter["Message-ID"] == "<pit.low.pit.1790000000000.1@pitlogger>"


async def test_an_address_that_is_refused_is_named(post: tuple[Post, int]) -> None:
    with pytest.raises(DeliveryError, match="nobody@example") as fault:
        await way(mail(post[1], "nobody@example.org")).send(MESSAGE)
    assert fault.value.for_good


async def test_a_mail_server_without_tls_is_not_trusted_by_default(post: tuple[Post, int]) -> None:
    wants_tls = mail(post[1]).replace('security="none"', 'security="starttls"')
    with pytest.raises(DeliveryError, match="STARTTLS"):
        await way(wants_tls).send(MESSAGE)


# -- sounder --------------------------------------------------------------------------------


def test_the_sounder_sounds_for_an_alert_and_is_silent_without(pins: Any) -> None:
    sounder = Sounder(SounderTable(pin=17), lambda: None, pins)
    sounder.sound(Priority.HIGH)
    assert sounder.is_sounding
    sounder.sound(None)
    assert not sounder.is_sounding
    assert pins.pin(17).state == 0
    sounder.close()


def test_the_button_acknowledges(pins: Any) -> None:
    pressed: list[bool] = []
    sounder = Sounder(SounderTable(button_pin=27), lambda: pressed.append(True), pins)
    pins.pin(27).drive_low()
    assert pressed == [True]
    sounder.close()


def test_the_relay_is_held_on_only_while_all_is_well(pins: Any) -> None:
    sounder = Sounder(SounderTable(healthy_pin=22), lambda: None, pins)
    sounder.hold(True)
    assert pins.pin(22).state == 1
    sounder.hold(False)
    assert pins.pin(22).state == 0
    sounder.close()


def test_a_lamp_blinks_until_it_was_seen_and_then_is_lit(pins: Any) -> None:
    sounder = Sounder(SounderTable(lights={"high": 5, "low": 13}), lambda: None, pins)
    sounder.light({Priority.HIGH: "on", Priority.MEDIUM: "blink", Priority.LOW: "off"})
    high, low = pins.pin(5), pins.pin(13)
    assert (high.state, low.state) == (1, 0)
    sounder.light({Priority.HIGH: "off", Priority.LOW: "blink"})
    assert high.state == 0
    sounder.close()
    assert (high.state, low.state) == (0, 0)


def test_a_pin_named_twice_is_told_in_words(pins: Any) -> None:
    taken = Sounder(SounderTable(pin=17), lambda: None, pins)
    with pytest.raises(DeliveryError, match="used twice"):
        Sounder(SounderTable(pin=17), lambda: None, pins)
    taken.close()


def test_a_closed_sounder_leaves_its_pins_off(pins: Any) -> None:
    sounder = Sounder(SounderTable(pin=17, healthy_pin=22), lambda: None, pins)
    sounder.sound(Priority.HIGH)
    sounder.hold(True)
    buzzer, relay = pins.pin(17), pins.pin(22)
    sounder.close()
    assert (buzzer.state, relay.state) == (0, 0)
