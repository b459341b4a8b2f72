"""A network cable between a daemon and a broker: pulled, pushed in, or silently dead."""

from __future__ import annotations

import selectors
import socket
import threading
from contextlib import suppress


class Cable:
    """Passes bytes between whoever connects to ``port`` and a port of this host."""

    def __init__(self, to_port: int) -> None:
        self._to_port = to_port
        self._listening = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listening.getsockname()[1]
        self.is_dead = False  # takes connections and bytes, and passes nothing on
        self._is_pulled = False
        self._peers: dict[socket.socket, socket.socket] = {}
        self._watched = selectors.DefaultSelector()
        self._watched.register(self._listening, selectors.EVENT_READ)
        self._turn = threading.Lock()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._pass, daemon=True)
        self._thread.start()

    def pull(self) -> None:
        """Break all connections and refuse new ones."""
        with self._turn:
            self._is_pulled = True
            for end in list(self._peers):
                self._cut(end)

    def push_in(self) -> None:
        """Be a good cable from now on; what was broken stays so."""
        with self._turn:
            self._is_pulled = self.is_dead = False

    def close(self) -> None:
        self._stop.set()
        self._thread.join()
        self.pull()
        self._listening.close()
        self._watched.close()

    def _pass(self) -> None:
        while not self._stop.is_set():
            for key, _ in self._watched.select(0.05):
                with self._turn:
                    if key.fileobj is self._listening:
                        self._take()
                    elif isinstance(key.fileobj, socket.socket) and key.fileobj in self._peers:
                        self._carry(key.fileobj)

    def _take(self) -> None:
        near, _ = self._listening.accept()
        try:
            far = socket.create_connection(("127.0.0.1", self._to_port), timeout=1)
        except OSError:
            near.close()
            return
        self._peers |= {near: far, far: near}
        for end in (near, far):
            self._watched.register(end, selectors.EVENT_READ)
        if self._is_pulled:
            self._cut(near)

    def _carry(self, end: socket.socket) -> None:
        data = b""
        with suppress(OSError):
            data = end.recv(65536)
            if data and not self.is_dead:
                self._peers[end].sendall(data)
        if not data:
            self._cut(end)

    def _cut(self, end: socket.socket) -> None:
        other = self._peers.pop(end, None)
        if other is None:
            return
        self._peers.pop(other, None)
        for each in (end, other):
            self._watched.unregister(each)
            each.close()
