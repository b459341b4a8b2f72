"""Policies: what ships is whole, and a person's own file changes only what it names."""

from pathlib import Path

import pytest

from pitlogger.bootstrap.policies import load_policy
from pitlogger.errors import ConfigError
from pitlogger.model.alerts import KINDS, Priority
from pitlogger.model.cooks import CUTS
from pitlogger.safety.policy import shipped_policy


def test_every_cut_has_targets_and_every_kind_that_is_raised_has_a_rule() -> None:
    policy = load_policy()
    assert policy.cuts.keys() == CUTS.keys()
    assert set(KINDS) == set(policy.rules)


def test_every_rule_says_cause_consequence_what_to_do_and_by_when() -> None:
    for rule in load_policy().rules.values():
        assert all((rule.cause, rule.consequence, rule.remedy, rule.act_within)), rule.kind


def test_an_own_file_changes_only_the_keys_it_names(tmp_path: Path) -> None:
    own = tmp_path / "alerts.toml"
    own.write_text('[wrap-due]\nwakes = false\npriority = "medium"\n', encoding="utf-8")
    shipped, mine = load_policy().rules["wrap-due"], load_policy(own).rules["wrap-due"]
    assert (mine.wakes, mine.priority) == (False, Priority.MEDIUM)
    assert (mine.cause, mine.on_delay_ms) == (shipped.cause, shipped.on_delay_ms)


def test_own_targets_of_a_cut(tmp_path: Path) -> None:
    own = tmp_path / "targets.toml"
    own.write_text('[pork-butt]\nwrap_at = "160F"\n', encoding="utf-8")
    butt = load_policy(own_targets=own).cuts["pork-butt"]
    assert butt.wrap_at_mc == 71_111
    assert butt.pull_at_mc == 95_000


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("[wrap-due]\nwaks = true\n", r"own\.toml:2: unknown key .*'wakes'"),
        ("[wrap-du]\nwakes = true\n", "did you mean 'wrap-due'"),
        ('[wrap-due]\npriority = "urgent"\n', r"own\.toml:2: .*priority"),
        ('[wrap-due]\non_delay = "30"\n', r"own\.toml:2: .*duration"),
        ("[wrap-due\n", r"own\.toml:1: not valid TOML"),
    ],
)
def test_a_fault_in_an_own_file_is_told_with_its_line(tmp_path: Path, text: str, told: str) -> None:
    own = tmp_path / "own.toml"
    own.write_text(text, encoding="utf-8")
    with pytest.raises(ConfigError, match=told):
        load_policy(own)


def test_the_alarms_go_by_the_hot_holding_limit_of_the_safety_policy() -> None:
    assert load_policy().hot_hold_limit_mc == 57_222
    assert load_policy(safety=shipped_policy("home")).hot_hold_limit_mc == 60_000
