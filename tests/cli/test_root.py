"""The root of the command line: its help, and commands that other packages add."""

from __future__ import annotations

from importlib.metadata import EntryPoint

import pytest
from click.testing import CliRunner

from pitlogger import cli


def test_help_tells_what_added_commands_do() -> None:
    told = CliRunner().invoke(cli.root, ["--help"]).output
    assert "Run a whole simulated cook with the page on." in told


def test_a_command_that_does_not_load_hides_no_other(monkeypatch: pytest.MonkeyPatch) -> None:
    broken = EntryPoint("kettle", "no_such_package:kettle", cli.GROUP)
    monkeypatch.setattr(cli, "added_commands", lambda: [broken])
    told = CliRunner().invoke(cli.root, ["--help"]).output
    assert "Say how things stand." in told
    assert "Cannot be loaded (no_such_package:kettle)" in told


def test_every_command_says_in_the_list_what_it_says_itself() -> None:
    context = cli.root.make_context("pitlogger", ["status"])
    for name in cli.COMMANDS:
        command = cli.root.get_command(context, name)
        assert command is not None, name
        assert command.help, name
