"""A renamed key stops no daemon: it works for two minor versions; `config migrate` rewrites it."""

from __future__ import annotations

import json
import logging
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from pitlogger import __version__, config, config_renames
from pitlogger.cli.installation.config import migrate, text
from pitlogger.config_renames import RENAMES, Rename, migrated, with_new_names
from pitlogger.errors import ConfigError
from pitlogger.questions import QuestionError

TOPIC = Rename("mqtt", "topic", "base", "0.1")
WAY = Rename("notify.way", "address", "url", "0.1")
OLD = """\
# the smoker behind the barn
[mqtt]   # broker
topic   = "barn"   # not "pitlogger"

[[notify.way]]
'address' = "https://ntfy.example/one"  # mine
kind = "ntfy"
[[notify.way]]
kind = "ntfy"
id = "second"
address="https://ntfy.example/two"
"""
NEW = OLD.replace("topic ", "base ").replace("'address' ", "url ").replace("address=", "url=")


def test_migrating_changes_the_names_and_nothing_else() -> None:
    assert migrated(OLD, (TOPIC, WAY)) == NEW
    assert migrated(NEW, (TOPIC, WAY)) == NEW


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('mqtt.topic = "a" # b\n', 'mqtt.base = "a" # b\n'),
        ('mqtt = { topic = "a" }\n', 'mqtt = { base = "a" }\n'),
        ('[mqtt]\r\ntopic = "a"\r\n', '[mqtt]\r\nbase = "a"\r\n'),
        ('topic = "a"\n[other]\ntopic = "b"\n', 'topic = "a"\n[other]\ntopic = "b"\n'),
        ('[mqtt.limits]\ntopic = 1\n', '[mqtt.limits]\ntopic = 1\n'),
        ('[mqtt]\nhost = "topic = 1" # topic = 2\n', '[mqtt]\nhost = "topic = 1" # topic = 2\n'),
    ],
)  # fmt: skip
def test_a_key_is_found_however_it_is_written_and_no_other(old: str, new: str) -> None:
    assert migrated(old, (TOPIC,)) == new


@given(st.dictionaries(st.sampled_from(["topic", "host", "port"]), st.text(max_size=9), min_size=1))
def test_a_migrated_file_reads_as_the_old_one_does(table: dict[str, str]) -> None:
    old = "[mqtt]\n" + "".join(f"{key} = {json.dumps(value)} # c\n" for key, value in table.items())
    try:
        tomllib.loads(old)
    except tomllib.TOMLDecodeError:
        return  # JSON writes some characters as TOML does not
    read = with_new_names(tomllib.loads(old), "f", (TOPIC,), "0.1.0")
    assert tomllib.loads(migrated(old, (TOPIC,))) == read


def test_an_old_key_works_with_a_warning(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture, tmp_path: Path
) -> None:
    rename = Rename("mqtt", "topic", "base", ".".join(__version__.split(".")[:2]))
    monkeypatch.setattr(config_renames, "RENAMES", (rename,))
    path = tmp_path / "old.toml"
    path.write_text('[mqtt]\ntopic = "barn"\n', encoding="utf-8")
    with caplog.at_level(logging.WARNING):
        assert config.load_config(path).mqtt.base == "barn"
    (said,) = caplog.messages
    assert "'mqtt.topic' is called 'base' since" in said
    assert f"pitlogger config migrate {path}" in said


@pytest.mark.parametrize(
    ("version", "works"),
    [("0.2.0", True), ("0.3.9", True), ("0.4.0", False), ("1.0.0", False)],
)
def test_the_window_is_two_minor_versions(version: str, works: bool) -> None:
    assert Rename("mqtt", "topic", "base", "0.2").works_in(version) is works


def test_an_old_key_past_its_time_is_an_error_with_the_remedy() -> None:
    with pytest.raises(ConfigError, match=r"'mqtt.topic' is called 'base'.*config migrate"):
        with_new_names({"mqtt": {"topic": "a"}}, "f.toml", (TOPIC,), "0.3.0")


def test_both_names_at_once_are_refused() -> None:
    with pytest.raises(ConfigError, match="both are given"):
        with_new_names({"mqtt": {"topic": "a", "base": "b"}}, "f.toml", (TOPIC,), "0.1.0")


@pytest.mark.parametrize(
    "odd", [{"mqtt": 3}, {"mqtt": [1, {"topic": "a"}]}, {"notify": {"way": 1}}]
)
def test_what_is_no_table_is_left_to_the_models(odd: dict[str, object]) -> None:
    with_new_names(odd, "f.toml", (TOPIC, WAY), "0.1.0")


def test_every_declared_rename_leads_to_a_key_there_is() -> None:
    for rename in RENAMES:
        present: object = config.Config
        for part in rename.table.split("."):
            fields = present.model_fields  # type: ignore[attr-defined]
            present = config_model(fields[part].annotation)
        assert not rename.new or rename.new in present.model_fields  # type: ignore[attr-defined]
        assert rename.old not in present.model_fields  # type: ignore[attr-defined]


def config_model(annotation: object) -> object:
    """Return the model inside a tuple of them."""
    return getattr(annotation, "__args__", (annotation,))[0]


def test_a_key_that_is_gone_is_passed_over_with_a_warning(
    caplog: pytest.LogCaptureFixture, tmp_path: Path
) -> None:
    path = tmp_path / "old.toml"
    path.write_text("[mqtt]\nhomie = true  # mine\ncommands = true\n", encoding="utf-8")
    with caplog.at_level(logging.WARNING):
        assert config.load_config(path).mqtt.commands
    (said,) = caplog.messages
    assert "'mqtt.homie' is gone since 0.2" in said
    assert migrated(path.read_text(encoding="utf-8")) == "[mqtt]\ncommands = true\n"


def test_the_command_shows_first_keeps_the_old_file_and_its_mode(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(config_renames, "RENAMES", (TOPIC,))
    path = tmp_path / "pitlogger.toml"
    path.write_text('[mqtt]\ntopic = "barn" # mine\n', encoding="utf-8")
    path.chmod(0o640)
    asked = CliRunner().invoke(migrate, [str(path)])
    assert isinstance(asked.exception, QuestionError)
    assert '+base = "barn" # mine' in asked.exception.asked.question
    assert not (tmp_path / "pitlogger.toml.old").exists()
    done = CliRunner().invoke(migrate, [str(path), "--confirm", "yes", "--json"])
    assert json.loads(done.output)["written"] is True
    assert path.read_text(encoding="utf-8") == '[mqtt]\nbase = "barn" # mine\n'
    assert path.stat().st_mode & 0o777 == 0o640
    assert "topic" in (tmp_path / "pitlogger.toml.old").read_text(encoding="utf-8")


def test_a_file_with_present_names_is_not_touched(tmp_path: Path) -> None:
    path = tmp_path / "pitlogger.toml"
    path.write_text(text("example"), encoding="utf-8")
    told = CliRunner().invoke(migrate, [str(path)])
    assert told.exit_code == 0
    assert "every name is the present one" in told.output
    assert [one.name for one in tmp_path.iterdir()] == ["pitlogger.toml"]


def test_a_file_that_would_not_be_accepted_is_not_written(tmp_path: Path) -> None:
    path = tmp_path / "pitlogger.toml"
    path.write_text("[mqtt]\nprot = 3\n", encoding="utf-8")
    told = CliRunner().invoke(migrate, [str(path), "--confirm", "yes"])
    assert isinstance(told.exception, ConfigError)
    assert "unknown key 'mqtt.prot'" in str(told.exception)
