"""What a message says, and that it survives being written down."""

from __future__ import annotations

from datetime import UTC

from pitlogger.model.alerts import Priority
from pitlogger.notify.alert_status import UnansweredAlert
from pitlogger.notify.message import Message, compose, without_effects

NOON_MS = 1_790_164_800_000  # 2026-09-23 12:00 UTC


def standing(key: str, priority: Priority = Priority.MEDIUM, **changes: object) -> UnansweredAlert:
    kind = key.partition("/")[0]
    given: dict[str, object] = {"message": "pit at 205 F, under 210 F", "remedy": "Add fuel."}
    given |= {"pushed": {"first": 1}, **changes}
    return UnansweredAlert(key, kind, priority, True, NOON_MS, NOON_MS, **given)  # type: ignore[arg-type]


def test_a_message_says_what_how_much_since_when_and_what_to_do() -> None:
    later_ms = NOON_MS + 25 * 60_000
    message = compose("raised", [standing("pit-low/pit")], later_ms, 0, UTC)
    assert message.title == "ALARM: pit too cold, pit"
    assert message.text == "pit at 205 F, under 210 F\nSince 12:00 (25 min).\nDo: Add fuel."


def test_times_are_wall_times_after_the_clock_was_stepped() -> None:
    message = compose("raised", [standing("pit-low/pit")], NOON_MS, 3_600_000, UTC)
    assert "Since 13:00" in message.text
    assert message.at_ms == NOON_MS + 3_600_000


def test_the_gravest_alert_comes_first() -> None:
    grave = standing("flare-up/pit", Priority.HIGH)
    message = compose("raised", [standing("pit-falling/pit"), grave], NOON_MS, 0, UTC)
    assert message.title == "ALARM: flare-up, pit and 1 more"
    assert message.priority is Priority.HIGH


def test_a_cause_hides_its_effects_and_counts_them() -> None:
    both = [standing("pit-low/pit"), standing("pit-falling/pit")]
    message = compose("raised", both, NOON_MS, 0, UTC)
    assert message.title == "ALARM: pit falling, pit"
    assert message.text.endswith("1 more that follow from this.")
    assert message.alerts == ("pit-low/pit", "pit-falling/pit")


def test_an_effect_on_another_subject_is_not_hidden() -> None:
    both = [standing("pit-low/second-pit"), standing("pit-falling/pit")]
    assert len(without_effects(both)) == 2


def test_back_in_band_says_from_when_to_when() -> None:
    returned = standing("pit-low/pit", returned_ms=NOON_MS + 600_000)
    message = compose("returned", [returned], NOON_MS + 610_000, 0, UTC)
    assert message.title == "Back in band: pit too cold, pit"
    assert "From 12:00 to 12:10." in message.text


def test_a_prompt_is_called_something_to_do() -> None:
    assert compose("raised", [standing("wrap-due/b")], NOON_MS, 0, UTC).title.startswith("To do")


def test_each_push_has_an_id_of_its_own() -> None:
    first = compose("raised", [standing("pit-low/pit")], NOON_MS, 0, UTC)
    again = standing("pit-low/pit", pushed={"first": 2})
    assert first.id != compose("repeated", [again], NOON_MS, 0, UTC).id


def test_a_message_survives_being_written_down() -> None:
    message = compose("raised", [standing("pit-low/pit")], NOON_MS, 0, UTC)
    assert Message.load(message.dump()) == message
