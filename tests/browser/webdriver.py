"""Firefox and WebKit, driven by WebDriver (W3C): over a socket of its own, and by HTTP."""

from __future__ import annotations

import http.client
import json
import shutil
import socket
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, Protocol

import pytest

PATIENCE_MS = 60_000
# Nothing is asked of other machines; the port is chosen free.
PREFS = {
    "marionette.port": 0,
    "app.update.enabled": False,
    "browser.shell.checkDefaultBrowser": False,
    "datareporting.policy.dataSubmissionEnabled": False,
    "network.captive-portal-service.enabled": False,
    "network.connectivity-service.enabled": False,
}
WEBKIT = Path("/usr/lib/x86_64-linux-gnu/webkit2gtk-4.1/MiniBrowser")
WEBKIT_PORT = 47_821
STARTS_S = 20
# Where each command goes by HTTP, under the session.
PATHS = {
    "SetTimeouts": ("POST", "timeouts"), "SetWindowRect": ("POST", "window/rect"),
    "Navigate": ("POST", "url"), "ExecuteScript": ("POST", "execute/sync"),
    "PerformActions": ("POST", "actions"),
    "ReleaseActions": ("DELETE", "actions"), "DeleteAllCookies": ("DELETE", "cookie"),
    "ElementClear": ("POST", "element/{id}/clear"), "TakeScreenshot": ("GET", "screenshot"),
    "ElementSendKeys": ("POST", "element/{id}/value"),
}  # fmt: skip
FIND = """const nameOf = (one) => one.getAttribute('aria-label') ?? one.textContent;
return [...document.querySelectorAll(arguments[0])].find((one) =>
    one.checkVisibility() && nameOf(one).includes(arguments[1]))"""
CENTRE = """const one = arguments[0];
one.scrollIntoView({ block: 'center' });
const box = one.getBoundingClientRect();
return [Math.round(box.left + box.width / 2), Math.round(box.top + box.height / 2)];"""


class Wire(Protocol):
    """How a browser takes a command; a refusal is an error with its words."""

    def ask(self, command: str, **parameters: Any) -> Any: ...


class FirefoxWire:
    """Each command a JSON array with its length before it, each answer too."""

    def __init__(self, port: int) -> None:
        with socket.create_connection(("127.0.0.1", port)) as made:
            self._wire = made.makefile("rwb")
        self._sent = 0
        self._answer()
        self.ask("NewSession", capabilities={})

    def ask(self, command: str, **parameters: Any) -> Any:
        self._sent += 1
        text = json.dumps([0, self._sent, f"WebDriver:{command}", parameters]).encode()
        self._wire.write(b"%d:%s" % (len(text), text))
        self._wire.flush()
        _, _, fault, given = self._answer()
        if fault:
            raise AssertionError(f"{command}: {fault['error']}: {fault['message']}")
        return given["value"] if isinstance(given, dict) and "value" in given else given

    def _answer(self) -> Any:
        size = b""
        while (one := self._wire.read(1)) != b":":
            if not one:
                raise AssertionError("the browser closed its socket")
            size += one
        return json.loads(self._wire.read(int(size)))

    def close(self) -> None:
        self._wire.close()


class HttpWire:
    """Each command a request under the session's path."""

    def __init__(self, port: int, options: dict[str, Any]) -> None:
        self._wire = http.client.HTTPConnection("127.0.0.1", port, timeout=2 * PATIENCE_MS / 1000)
        made = self._send("POST", "/session", {"capabilities": {"alwaysMatch": options}})
        self._session = f"/session/{made['sessionId']}"

    def ask(self, command: str, **parameters: Any) -> Any:
        method, path = PATHS[command]
        return self._send(method, f"{self._session}/{path.format(**parameters)}", parameters)

    def _send(self, method: str, path: str, body: dict[str, Any]) -> Any:
        text = json.dumps(body) if method == "POST" else None
        self._wire.request(method, path, text, {"Content-Type": "application/json"})
        given = json.loads(self._wire.getresponse().read())["value"]
        if isinstance(given, dict) and "error" in given:
            raise AssertionError(f"{path}: {given['error']}: {given['message']}")
        return given

    def close(self) -> None:
        self._send("DELETE", self._session, {})
        self._wire.close()


class Window:
    """One window of a browser."""

    def __init__(self, wire: Wire) -> None:
        self.ask = wire.ask
        self.ask("SetTimeouts", script=PATIENCE_MS, pageLoad=PATIENCE_MS, implicit=0)
        self.ask("SetWindowRect", width=450, height=950)

    def open(self, address: str) -> None:
        self.ask("Navigate", url=address)

    def run(self, script: str, *given: Any) -> Any:
        """Return what a script returns."""
        return self.ask("ExecuteScript", script=script, args=list(given))

    def until(self, expression: str) -> None:
        """Wait until an expression is true in the page, whichever screen that is by then."""
        script = f"try {{ return Boolean({expression}); }} catch {{ return false; }}"
        end = time.monotonic() + PATIENCE_MS / 1000
        while time.monotonic() < end:
            with suppress(AssertionError):  # the screen before this one goes
                if self.run(script):
                    return
            time.sleep(0.05)
        raise AssertionError(f"never came: {expression}")

    def find(self, selector: str, text: str = "") -> Any:
        """Return the first shown element of a selector whose text or label holds a text."""
        found = self.run(FIND, selector, text)
        assert found, f"no {selector} with '{text}' is shown"
        return found

    def tap(self, selector: str, text: str = "") -> None:
        """Press it where it stands."""
        x, y = self.run(CENTRE, self.find(selector, text))
        press = [
            {"type": "pointerMove", "duration": 0, "x": x, "y": y},
            {"type": "pointerDown", "button": 0},
            {"type": "pointerUp", "button": 0},
        ]
        finger = {"type": "pointer", "id": "finger", "parameters": {"pointerType": "mouse"}}
        self.ask("PerformActions", actions=[{**finger, "actions": press}])
        self.ask("ReleaseActions")

    def write(self, selector: str, text: str) -> None:
        """Type into a field."""
        element = next(iter(self.find(selector).values()))
        self.ask("ElementClear", id=element)
        self.ask("ElementSendKeys", id=element, text=text)


@contextmanager
def firefox(folder: Path) -> Iterator[Window]:
    """Start it with a profile of its own; skipped, and said so, where it is not installed."""
    path = shutil.which("firefox-esr") or shutil.which("firefox")
    if path is None:
        pytest.skip("no Firefox on this system: the main way is not tried in it")
    lines = (
        f"user_pref({json.dumps(name)}, {json.dumps(value)});" for name, value in PREFS.items()
    )
    (folder / "user.js").write_text("\n".join(lines), encoding="utf-8")
    with _running(path, "--headless", "--marionette", "--profile", str(folder)) as process:
        assert process.stdout is not None
        told = next(line for line in process.stdout if "Listening on port" in line)
        wire = FirefoxWire(int(told.split()[-1]))
        yield Window(wire)
        wire.close()


@contextmanager
def webkit(folder: Path) -> Iterator[Window]:
    """Start its small browser on a screen that nobody sees; skipped where it is not installed."""
    driver, screen = shutil.which("WebKitWebDriver"), shutil.which("Xvfb")
    if driver is None or screen is None or not WEBKIT.exists():
        pytest.skip("no webkit2gtk-driver or xvfb on this system: WebKit is not tried")
    options = {"webkitgtk:browserOptions": {"binary": str(WEBKIT), "args": ["--automation"]}}
    with _running(screen, "-screen", "0", "1280x1024x24", "-displayfd", "1") as shown:
        assert shown.stdout is not None
        # A system without a locale would give it the language "C", which no script can use.
        spoken = ("LANG=en_US.UTF-8", "LC_ALL=en_US.UTF-8")
        own = ("env", f"DISPLAY=:{shown.stdout.readline().strip()}", f"HOME={folder}", *spoken)
        with _running(*own, driver, f"--port={WEBKIT_PORT}"):
            _wait_for(WEBKIT_PORT)
            wire = HttpWire(WEBKIT_PORT, options)
            yield Window(wire)
            wire.close()


def _wait_for(port: int) -> None:
    end = time.monotonic() + STARTS_S
    while time.monotonic() < end:
        with suppress(OSError), socket.create_connection(("127.0.0.1", port), 1):
            return
        time.sleep(0.05)


@contextmanager
def _running(*command: str) -> Iterator[subprocess.Popen[str]]:
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    ) as process:
        try:
            yield process
        finally:
            process.terminate()
