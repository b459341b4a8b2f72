"""``[notify]`` and ``[mqtt]``: what is wrong is told with its line and an example."""

from __future__ import annotations

import pytest

from pitlogger.config import parse_config
from pitlogger.errors import ConfigError


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('[[notify.way]]\nkind = "ntfy"\nurl = "http://x"', "server and topic"),
        ('[[notify.way]]\nkind = "webhook"\nurl = "x"', "expected an address such as"),
        ('[[notify.way]]\nkind = "nfty"\nurl = "http://x/y"', "'ntfy'"),
        ('[[notify.way]]\nkind = "command"\nargv = []', "at least 1"),
        ('[notify]\nquiet_from = "22:00"', "both quiet_from and quiet_to"),
        ('[notify]\nquiet_from = "25:00"\nquiet_to = "06:00"', 'such as "22:30"'),
        ("[notify.sounder]\npin = 40", "40 is more than 27"),
        ('[mqtt]\nbase = "a/#"', "without + # or spaces"),
        ("[mqtt]\nlimits = { pit = 0 }", "0 is not more than 0"),
    ],
)
def test_what_cannot_be_used_is_told(text: str, words: str) -> None:
    with pytest.raises(ConfigError) as fault:
        parse_config(text)
    assert words in str(fault.value)


def test_two_ways_of_a_kind_need_ids() -> None:
    way = '[[notify.way]]\nkind = "webhook"\nurl = "http://x/y"\n'
    with pytest.raises(ConfigError, match="'webhook' is given twice"):
        parse_config(way + way)


def test_a_way_is_named_after_its_kind_unless_it_has_an_id() -> None:
    way = '[[notify.way]]\nkind = "webhook"\nurl = "http://x/y"\n'
    found = parse_config(way + way + 'id = "barn"\n').notify.way
    assert [each.id for each in found] == ["webhook", "barn"]


def test_a_way_over_mqtt_without_a_broker_is_told_without_showing_the_whole_file() -> None:
    with pytest.raises(ConfigError) as fault:
        parse_config('[[notify.way]]\nkind = "mqtt"\n[node]\nname = "barn"\n')
    assert str(fault.value).endswith(
        "1: notify.way 'mqtt' speaks over MQTT, and [mqtt] enabled is false"
    )
