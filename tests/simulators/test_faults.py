"""Faults act in their span, on what they name, and several at once."""

from __future__ import annotations

import random

import pytest

from pitlogger.model.readings import Quality
from pitlogger_simulators.devices.instruments import Sample
from pitlogger_simulators.faults import STEPS, Fault, Faults

HOUR_MS = 3_600_000


def faults(*given: Fault) -> Faults:
    return Faults(given, random.Random(1))


def test_drift_grows_by_the_hour() -> None:
    made = faults(Fault("a", "drift", 0, 4 * HOUR_MS, 1.5))
    assert made.value("a", "box", 2 * HOUR_MS, Sample(60.0)).value == pytest.approx(63.0)


def test_a_fault_of_the_device_strikes_all_its_channels() -> None:
    made = faults(Fault("box", "open", 0, 10))
    assert made.value("a", "box", 5, Sample(60.0)) == Sample(None, Quality.OPEN)
    assert made.value("a", "other", 5, Sample(60.0)) == Sample(60.0)


def test_a_fault_ends() -> None:
    made = faults(Fault("a", "bias", 10, 20, 5.0))
    values = [made.value("a", "", t_ms, Sample(1.0)).value for t_ms in (9, 10, 19, 20)]
    assert values == [1.0, 6.0, 6.0, 1.0]


def test_a_stuck_channel_keeps_the_first_value_of_the_span() -> None:
    made = faults(Fault("a", "stuck", 0, 100))
    assert [made.value("a", "", t, Sample(float(t))).value for t in (1, 2, 3)] == [1.0] * 3


def test_faults_add_up() -> None:
    made = faults(Fault("a", "bias", 0, 10, 2.0), Fault("a", "bias", 0, 10, 0.5))
    assert made.value("a", "", 1, Sample(1.0)).value == 3.5


def test_silence_lets_nothing_through_but_keeps_the_link() -> None:
    made = faults(Fault("a", "silence", 0, 10))
    assert not made.delivers("a", "box", 5)
    assert made.is_linked("box", 5)


def test_drop_loses_about_its_share() -> None:
    made = faults(Fault("a", "drop", 0, 10_000, 0.3))
    came = sum(made.delivers("a", "box", t) for t in range(5000))
    assert 0.65 < came / 5000 < 0.75


def test_split_frames_are_whole_when_put_together() -> None:
    made = faults(Fault("box", "split", 0, 10))
    pieces = made.frames("box", 1, [b"ST,GS,+  1.234kg\r\n"])
    assert len(pieces) == 2
    assert b"".join(pieces) == b"ST,GS,+  1.234kg\r\n"


def test_merged_frames_come_together() -> None:
    made = faults(Fault("box", "merge", 0, 10, 3))
    came = [made.frames("box", 1, [frame]) for frame in (b"a", b"b", b"c", b"d")]
    assert came == [[], [], [b"abc"], []]


def test_a_bit_error_changes_one_bit() -> None:
    made = faults(Fault("box", "bits", 0, 10, 1.0))
    (frame,) = made.frames("box", 1, [b"\0\0\0\0"])
    assert int.from_bytes(frame, "big").bit_count() == 1


def test_without_the_adapter_only_bluetooth_is_cut_off() -> None:
    made = faults(Fault("adapter", "adapter-gone", 0, 10))
    assert not made.is_linked("box", 5, bluetooth=True)
    assert made.is_linked("box", 5)


def test_a_low_battery_never_shows_more_than_it_has() -> None:
    made = faults(Fault("box", "low-battery", 0, 10, 5.0))
    assert [made.battery_pct("box", t, 80.0) for t in (5, 10)] == [5.0, 80.0]


def test_the_same_seed_gives_the_same_faults() -> None:
    given = (Fault("box", "drop", 0, 10_000, 0.5), Fault("box", "bits", 0, 10_000, 0.5))
    runs = []
    for _ in range(2):
        made = faults(*given)
        runs.append([(made.delivers("a", "box", t), made.frames("box", t, [b"xy"]))
                     for t in range(50)])  # fmt: skip
    assert runs[0] == runs[1]


def test_a_link_that_breaks_in_a_frame_gives_half_of_it_and_is_gone_until_the_end() -> None:
    made = faults(Fault("box", "disconnect", 0, 10, step="mid-frame"))
    assert made.is_in_reach("box", 1)
    assert made.frames("box", 1, [b"ST,GS,+  1.2kg\r\n", b"more"]) == [b"ST,GS,+ "]
    assert [made.is_in_reach("box", t_ms) for t_ms in (2, 10)] == [False, True]


def test_lost_tries_leave_a_device_in_reach() -> None:
    made = faults(
        Fault("box", "disconnect", 0, 10, step="discover"),
        Fault("box", "disconnect", 5, 10, step="subscribe"),
    )
    assert made.lost_tries("box", 1) == {"discover"}
    assert made.lost_tries("box", 6) == {"discover", "subscribe"}
    assert not made.lost_tries("box", 10)
    assert made.is_in_reach("box", 6)


@pytest.mark.parametrize("step", STEPS)
def test_in_a_capture_every_disconnect_is_silence(step: str) -> None:
    made = faults(Fault("box", "disconnect", 0, 10, step=step))
    assert [made.is_linked("box", t_ms) for t_ms in (5, 10)] == [False, True]
