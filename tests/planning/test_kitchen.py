"""How long the work takes stands once, in a policy file, and can be a person's own."""

from __future__ import annotations

from pathlib import Path

import pytest

from pitlogger.bootstrap.policies import load_policy
from pitlogger.errors import ConfigError
from pitlogger.model.cooks import Service
from pitlogger.planning.timeline import ScheduleQuestion, one_cut, schedule
from pitlogger.rules.policies import shipped_cuts, shipped_kitchen

AT_MS = 1_790_000_000_000


def test_a_schedule_and_the_engine_carve_equally_long() -> None:
    assert load_policy().kitchen == shipped_kitchen()
    assert load_policy().cuts == shipped_cuts()  # read without checks, and the same
    answer = schedule(ScheduleQuestion(one_cut("pork-butt", 1, Service(AT_MS))))
    (service,) = answer.services
    assert (service.at - service.leave_by).total_seconds() * 1000 == shipped_kitchen().carve_ms


def test_a_file_of_their_own_changes_only_its_keys(tmp_path: Path) -> None:
    own = tmp_path / "kitchen.toml"
    own.write_text('[carve]\ntakes = "35 min"\n', encoding="utf-8")
    kitchen = load_policy(own_kitchen=own).kitchen
    assert kitchen.carve_ms == 35 * 60_000
    assert kitchen.trim_ms == shipped_kitchen().trim_ms


@pytest.mark.parametrize(
    ("text", "said"),
    [("[carv]\ntakes='1 min'", "carv"), ("[carve]\ntakes='0 min'", "carve"),
     ("[carve]\ntakes='soon'", "soon")],
)  # fmt: skip
def test_a_file_that_cannot_be_used_names_its_line(text: str, said: str, tmp_path: Path) -> None:
    own = tmp_path / "kitchen.toml"
    own.write_text(text, encoding="utf-8")
    with pytest.raises(ConfigError, match=r"kitchen.toml:\d") as caught:
        load_policy(own_kitchen=own)
    assert said in str(caught.value)
