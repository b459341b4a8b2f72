"""Ids and payloads that two names must not spoil."""

from __future__ import annotations

import re

import pytest

from pitlogger.notify.mqtt.discovery import components_of, ids_of, without

ID = re.compile(r"[a-z0-9-]+")


def test_names_that_fall_together_keep_ids_of_their_own() -> None:
    names = ["brisket-1/core", "brisket-1-core", "Brisket 1 core", "pit", "Ü", "Ö"]
    found = ids_of(names)
    assert len(set(found.values())) == len(names)
    assert (found["brisket-1-core"], found["pit"]) == ("brisket-1-core", "pit")
    assert all(ID.fullmatch(id_) for id_ in found.values())


def test_an_id_does_not_depend_on_the_order_of_the_names() -> None:
    names = ["a/b", "a-b", "a b"]
    assert ids_of(names) == ids_of(reversed(names))


def test_a_removed_component_has_its_platform_alone() -> None:
    document = {"dev": {}, "cmps": {"a": {"p": "sensor", "unique_id": "x"}}}
    assert without(document, {"b": "sensor"})["cmps"]["b"] == {"p": "sensor"}
    assert "b" not in document["cmps"]


@pytest.mark.parametrize("payload", [b"", b"x", b"[]", b"{}", b'{"cmps": 1}', b'{"cmps":{"a":1}}'])
def test_what_is_no_description_of_ours_holds_no_components(payload: bytes) -> None:
    assert components_of(payload) == {}
