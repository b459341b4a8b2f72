"""Lines above a prompt, on a terminal of a few rows that knows the sequences used."""

from __future__ import annotations

import io
import re

from pitlogger.cli.live_lines import LiveLines

WIDTH = 20
_PIECE = re.compile(r"\x1b7|\x1b8|\x1b\[\d+[AB]|\x1b\[2K|[\r\n]|.")


class Screen:
    """What a terminal shows of a text."""

    def __init__(self) -> None:
        self.rows = [""]
        self.row = self.column = 0
        self._saved = (0, 0)

    def take(self, text: str) -> None:
        for piece in _PIECE.findall(text):
            if piece == "\x1b7":
                self._saved = (self.row, self.column)
            elif piece == "\x1b8":
                self.row, self.column = self._saved
            elif piece == "\x1b[2K":
                self.rows[self.row] = ""
            elif piece.startswith("\x1b"):
                self.row += int(piece[2:-1]) * (1 if piece[-1] == "B" else -1)
            elif piece == "\r":
                self.column = 0
            elif piece == "\n":
                self._go_to(self.row + 1, 0)
            else:
                self._put(piece)

    def _put(self, letter: str) -> None:
        if self.column == WIDTH:
            self._go_to(self.row + 1, 0)
        line = self.rows[self.row].ljust(self.column)
        self.rows[self.row] = line[: self.column] + letter + line[self.column + 1 :]
        self.column += 1

    def _go_to(self, row: int, column: int) -> None:
        self.row, self.column = row, column
        self.rows += [""] * (row + 1 - len(self.rows))


class Terminal(io.StringIO):
    """Hands all that is written to a screen."""

    def __init__(self) -> None:
        super().__init__()
        self.screen = Screen()

    def write(self, text: str) -> int:
        self.screen.take(text)
        return len(text)


def test_lines_are_drawn_above_the_prompt_and_what_is_typed_stays() -> None:
    terminal = Terminal()
    live = LiveLines(terminal, WIDTH)
    live(["a 01 02"])
    live.ask("warm one: ")
    assert terminal.screen.rows == ["a 01 02", "warm one: "]
    terminal.write("0C")
    live(["a 01 [03]"])
    terminal.write("x")
    assert terminal.screen.rows == ["a 01 [03]", "warm one: 0Cx"]


def test_a_prompt_of_two_rows_and_several_kinds_of_frames() -> None:
    terminal = Terminal()
    live = LiveLines(terminal, WIDTH)
    terminal.write("before\n")
    live(["a", "b"])
    live.ask("a question longer than a row: ")
    live(["b", "a " * 30])
    assert terminal.screen.rows == [
        "before", "b", ("a " * 30)[: WIDTH - 1], "a question longer th", "an a row: ",
    ]  # fmt: skip


def test_nothing_is_drawn_once_the_answer_came() -> None:
    terminal = Terminal()
    live = LiveLines(terminal, WIDTH)
    live(["a"])
    live.ask("? ")
    terminal.write("\n")
    live.end()
    live(["b"])
    assert terminal.screen.rows == ["a", "? ", ""]


def test_a_device_that_said_nothing_yet_has_no_line() -> None:
    terminal = Terminal()
    live = LiveLines(terminal, WIDTH)
    live([])
    live.ask("? ")
    live(["a"])
    assert terminal.screen.rows == ["? "]
