"""``pitlogger schedule``: document, text, calendar, bad input."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from icalendar import Calendar

from pitlogger.cli.ahead.history import DaemonRecord
from pitlogger.cli.ahead.schedule import schedule
from pitlogger.errors import UsageError
from pitlogger.model.cooks import Cook, Piece, Stage
from pitlogger.model.folding import fold
from pitlogger.model.journal import Body, CookStarted, Entry, StageSet

SUPPER = ("--serve-at", "2026-09-19T18:00-05:00", "--cut", "brisket-packer")
COOK = """
[cook]
name = "harvest supper"
[[service]]
at = "2026-09-19T18:00:00-05:00"
place = "barn"
drive_min = 25
setup_min = 20
[[service]]
at = "2026-09-19T21:00:00-05:00"
place = "hall"
[[piece]]
id = "brisket-1"
cut = "brisket-packer"
[[piece]]
id = "butt-1"
cut = "pork-butt"
wrap = "none"
"""


def run(*args: str, obj: object = None) -> Any:
    result = CliRunner().invoke(schedule, [*args, "--json"], obj=obj, catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


def moment(text: str) -> datetime:
    return datetime.fromisoformat(text)


def test_the_document_has_its_keys_and_runs_in_order() -> None:
    document = run(*SUPPER, "--drive-min", "25", "--setup-min", "20")
    assert set(document) == {
        "cook", "confidence_pct", "services", "light_by", "pieces", "events", "notes", "plan_b",
    }  # fmt: skip
    (piece,) = document["pieces"]
    order = ["trim_from", "light_by", "load_by", "wrap_about", "off_about", "off_by", "leave_by"]
    times = [moment(piece[key]) for key in order]
    assert times == sorted(times)
    assert document["services"][0]["at"] == "2026-09-19T23:00:00Z"
    assert (moment("2026-09-19T23:00:00Z") - times[-1]).total_seconds() == (25 + 20 + 15) * 60
    events = [moment(event["at"]) for event in document["events"]]
    assert events == sorted(events)


def test_a_cook_file_is_timed_for_its_first_service(tmp_path: Path) -> None:
    path = tmp_path / "cook.toml"
    path.write_text(COOK, encoding="utf-8")
    document = run("--cook", str(path))
    assert [s["place"] for s in document["services"]] == ["barn", "hall"]
    brisket, butt = document["pieces"]
    assert brisket["leave_by"] == butt["leave_by"] == document["services"][0]["leave_by"]
    assert butt["wrap_about"] is None
    assert any("first service" in note for note in document["notes"])


def test_a_piece_is_timed_for_the_service_it_is_for(tmp_path: Path) -> None:
    path = tmp_path / "cook.toml"
    path.write_text(COOK + 'service = "hall"\n', encoding="utf-8")
    document = run("--cook", str(path))
    brisket, butt = document["pieces"]
    assert [brisket["leave_by"], butt["leave_by"]] == [
        service["leave_by"] for service in document["services"]
    ]
    assert butt["hold"]["wait_s"] < brisket["hold"]["wait_s"]


def test_a_fire_that_burns_is_not_lit_again(tmp_path: Path) -> None:
    path = tmp_path / "cook.toml"
    path.write_text(COOK, encoding="utf-8")
    document = run("--cook", str(path))
    fires = [event for event in document["events"] if event["what"] == "light the fire"]
    assert [fire["at"][:19] for fire in fires] == [document["light_by"][:19]]


def test_an_unknown_service_is_named(tmp_path: Path) -> None:
    path = tmp_path / "cook.toml"
    path.write_text(COOK + 'service = "hal"\n', encoding="utf-8")
    result = CliRunner().invoke(schedule, ["--cook", str(path)])
    assert "unknown service 'hal' (did you mean 'hall'?)" in str(result.exception)


def test_the_record_moves_the_times() -> None:
    hours = ((Stage.SMOKING, 0), (Stage.WRAPPED, 9), (Stage.RESTING, 17))
    books = []
    for k in range(8):
        bodies: list[Body] = [CookStarted(Cook(f"c{k}", (Piece("b", "brisket-packer"),)))]
        bodies += [StageSet("b", stage, h * 3_600_000) for stage, h in hours]
        books.append(fold(Entry("r", n, 0, body) for n, body in enumerate(bodies, 1)))
    slow = run(
        *SUPPER, obj=DaemonRecord(books=lambda: books, add_cooks=lambda rows: (len(rows), 0))
    )
    assert slow["pieces"][0]["n"] == 8
    assert moment(slow["light_by"]) < moment(run(*SUPPER)["light_by"])


def test_pieces_get_a_pit_or_it_is_said_that_they_do_not_fit() -> None:
    fits = run(*SUPPER, "--pieces", "4", "--pit", "big=3500", "--pit", "small=1500")
    assert {piece["pit"] for piece in fits["pieces"]} == {"big", "small"}
    full = run(*SUPPER, "--pieces", "4", "--pit", "big=3500")
    assert any("do not fit" in note for note in full["notes"])


def test_a_long_wait_is_checked_against_the_hold() -> None:
    bare, heated = run(*SUPPER), run(*SUPPER, "--heated-hold")
    assert any("box without heat" in note for note in bare["notes"])
    assert not any("hold is taken" in note for note in heated["notes"])


def test_brine_and_thaw_come_before_trimming() -> None:
    (piece,) = run(*SUPPER, "--brine", "12 h", "--frozen", "6 kg")["pieces"]
    assert moment(piece["thaw_from"]) < moment(piece["brine_from"]) < moment(piece["trim_from"])


def test_the_calendar_holds_every_event(tmp_path: Path) -> None:
    target = tmp_path / "cook.ics"
    document = run(*SUPPER, "--ics", str(target))
    events = list(Calendar.from_ical(target.read_bytes()).walk("VEVENT"))
    assert [e.decoded("DTSTART") for e in events] == [moment(e["at"]) for e in document["events"]]


def test_the_text_says_first_when_to_light() -> None:
    text = CliRunner().invoke(schedule, list(SUPPER)).output
    assert "light the fire by" in text.splitlines()[0]


@pytest.mark.parametrize(
    ("args", "said"),
    [
        ((), "give --cook"),
        (("--serve-at", "tonight", "--cut", "tri-tip"), "not a time"),
        (("--serve-at", "2026-09-19T18:00-05:00", "--cut", "tritip"), "did you mean 'tri-tip'"),
        ((*SUPPER, "--pit", "big"), "name=area"),
        ((*SUPPER, "--pit", "a=0"), "name=area"),
        ((*SUPPER, "--pit", "a=3000", "--pit", "a=4000"), "given twice"),
        ((*SUPPER, "--thickness", "0 cm"), "thickest part"),
        ((*SUPPER, "--thickness", "4 m"), "1 to 40 cm"),
        ((*SUPPER, "--policy", "none"), "unknown policy"),
        (("--cook", "/none.toml"), "cannot be read"),
        (("--cook", "/none.toml", "--cut", "tri-tip"), "leave --cut"),
    ],
)
def test_bad_questions_are_refused_with_a_reason(args: tuple[str, ...], said: str) -> None:
    result = CliRunner().invoke(schedule, list(args))
    assert isinstance(result.exception, UsageError), result.output
    assert said in str(result.exception)


def test_a_long_wait_in_a_box_does_not_meet_the_hot_holding_limit() -> None:
    document = run(*SUPPER, "--confidence", "99")
    hold = document["pieces"][0]["hold"]
    assert hold["met"] is False
    assert hold["limit_c"] == pytest.approx(57.22)
    assert hold["over_limit_p10_s"] < hold["wait_s"]
    assert any("3-501.16" in note and "limit not met" in note for note in document["notes"])


def test_a_short_wait_meets_it_and_a_stricter_policy_shortens_it() -> None:
    asked = ("--serve-at", SUPPER[1], "--cut", "chicken-whole")
    retail = run(*asked)["pieces"][0]["hold"]
    home = run(*asked, "--policy", "home")["pieces"][0]["hold"]
    assert retail["met"] is True
    assert home["limit_c"] > retail["limit_c"]
    assert home["over_limit_s"] < retail["over_limit_s"]


def test_a_heated_hold_is_not_shown_before_it_is_measured() -> None:
    document = run(*SUPPER, "--confidence", "99", "--heated-hold")
    assert document["pieces"][0]["hold"]["met"] is None
    assert any("by its own heat" in note for note in document["notes"])


def test_a_later_service_lengthens_the_wait(tmp_path: Path) -> None:
    path = tmp_path / "cook.toml"
    path.write_text(COOK, encoding="utf-8")
    both = run("--cook", str(path))["pieces"][0]["hold"]["wait_s"]
    path.write_text(COOK.replace('at = "2026-09-19T21', 'at = "2026-09-19T19'), encoding="utf-8")
    assert both - run("--cook", str(path))["pieces"][0]["hold"]["wait_s"] == 2 * 3600


def test_a_hold_too_small_is_said() -> None:
    notes = run(*SUPPER, "--pieces", "3", "--hold-takes", "2")["notes"]
    assert any("takes 2, but 3 pieces" in note for note in notes)


CHICKEN = ("--serve-at", SUPPER[1], "--cut", "chicken-whole", "--pieces", "6")


def test_pieces_that_do_not_fit_at_once_are_said_with_what_helps() -> None:
    document = run(*CHICKEN, "--pit", "pit=1400")
    assert any("do not fit all at once" in note and "racks" in note for note in document["notes"])
    assert len({piece["load_by"] for piece in document["pieces"]}) == 1


def test_a_piece_larger_than_any_pit_is_named() -> None:
    notes = run(*SUPPER, "--pit", "small=500")["notes"]
    assert any("No pit is large enough for brisket-1" in note for note in notes)


def test_what_comes_off_cool_is_carved_at_once(tmp_path: Path) -> None:
    path = tmp_path / "cook.toml"
    path.write_text(
        '[cook]\nname = "x"\nserve_at = "2026-09-19T18:00:00-05:00"\n[[piece]]\nid = "t"\n'
        'cut = "tri-tip"\npull_at = "130F"\n',
        encoding="utf-8",
    )
    notes = run("--cook", str(path))["notes"]
    assert any("carve and serve it at once" in note for note in notes)
