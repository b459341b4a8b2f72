"""A field that cannot be used is named: by the library, the options, the page's labels."""

from __future__ import annotations

import ast
import calendar
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

import pitlogger.planning
from pitlogger.cli.ahead.options import option
from pitlogger.cli.ahead.plan import plan as command
from pitlogger.errors import FieldError
from pitlogger.planning import Dish, PlanQuestion, Portion, fields, plan
from pitlogger.planning.terms import terms_of
from pitlogger.web.page.ahead.plan_fields import fields_of, named_as_labels, question

ROOM = Path(pitlogger.planning.__file__).parent
PACKER = (Dish("brisket-packer"),)


def test_a_risk_of_nothing_is_refused() -> None:
    with pytest.raises(FieldError, match="0 % is not above 0"):
        terms_of(False, 0.0, None, 0.0)


def test_the_room_reads_no_file_no_clock_and_no_command_line() -> None:
    for path in ROOM.glob("*.py"):
        names = {
            name
            for node in ast.walk(ast.parse(path.read_text("utf-8")))
            if isinstance(node, ast.Import | ast.ImportFrom)
            for name in ([node.module or ""] if isinstance(node, ast.ImportFrom) else
                         [alias.name for alias in node.names])
        }  # fmt: skip
        forbidden = {"click", "time", "socket", "asyncio", "pathlib", "sqlite3", "httpx"}
        assert not {name.partition(".")[0] for name in names} & forbidden, path.name


def test_a_time_is_that_moment_to_the_millisecond() -> None:
    utc_s = calendar.timegm((2026, 9, 19, 23, 0, 1))
    assert fields.moment_ms("2026-09-19T18:00:01-05:00", "serve_at") == utc_s * 1000


def test_a_mass_of_nothing_is_taken_only_where_it_means_something() -> None:
    assert fields.grams("0", "leave_g", zero=True) == 0.0
    for text in ("0 g", "0.0 lb"):
        with pytest.raises(FieldError, match="above zero"):
            fields.grams(text, "piece_mass_g")


def test_an_answer_needs_no_command() -> None:
    assert click.get_current_context(silent=True) is None
    answer = plan(PlanQuestion(guests=20, dishes=PACKER, portion=Portion(140.0)))
    assert answer.dishes[0].recommended == 2


def test_the_library_names_the_field() -> None:
    with pytest.raises(FieldError) as caught:
        PlanQuestion(guests=20, dishes=PACKER)
    assert caught.value.field == "portion"
    assert str(caught.value).startswith("portion is missing")


def test_the_command_names_the_option() -> None:
    run = CliRunner().invoke(command, ["--guests", "9", "--cut", "tri-tip"])
    assert str(run.exception).startswith("--portion is missing")
    run = CliRunner().invoke(command, ["--guests", "9", "--cut", "tri-tip", "--portion", "5oz",
                                       "--portion-sd", "30oz"])  # fmt: skip
    assert str(run.exception).startswith("--portion-sd: ")


def test_the_page_names_its_label() -> None:
    with pytest.raises(FieldError) as caught:
        question(fields_of({"guests": "9", "cut": "tri-tip"}))
    assert named_as_labels(caught.value).startswith("Portion of an adult is missing")
    assert "--" not in named_as_labels(caught.value)
    with pytest.raises(FieldError) as caught:
        question(fields_of({"guests": "9", "cut": "tri-tip", "portion": "5oz", "risk": "nan"}))
    assert named_as_labels(caught.value).startswith("Accepted risk")


@pytest.mark.parametrize("name", PlanQuestion.__dataclass_fields__)
def test_every_field_of_a_plan_has_an_option_of_the_command(name: str) -> None:
    options = {text for given in command.params for text in given.opts}
    if name != "factors":  # each factor has an option of its own
        assert option(name) in options


@pytest.mark.parametrize(
    ("shares", "said"),
    [((0.5, 0.4), "come to 90 %"), ((1.2, 0.4), "at most 100 %"), ((0.0, 1.0), "not above 0")],
)
def test_shares_that_are_none_are_refused(shares: tuple[float, float], said: str) -> None:
    dishes = tuple(map(Dish, ("brisket-packer", "pork-butt"), shares))
    with pytest.raises(FieldError, match=said):
        PlanQuestion(guests=9, dishes=dishes, portion=Portion(140.0))


def test_a_text_in_braces_is_no_field() -> None:
    with pytest.raises(FieldError) as caught:
        fields.portion("5 {Portion}")
    assert caught.value.field == "portion"


def test_a_mass_is_above_zero_unless_zero_is_allowed() -> None:
    for text in ("0 lb", "0 g"):
        with pytest.raises(FieldError, match="expected a mass above zero"):
            fields.grams(text, "portion")
    assert fields.grams("0", "leftovers", zero=True) == 0.0
    assert fields.grams("0 lb", "leftovers", zero=True) == 0.0


def test_a_small_plate_is_told_and_a_common_one_is_not() -> None:
    def told(portion_g: float) -> bool:
        answer = plan(PlanQuestion(guests=20, dishes=PACKER, portion=Portion(portion_g)))
        return any("is little" in note for note in answer.notes)

    assert told(60.0)
    assert not told(170.0)
