"""``pitlogger safety``, ``policy`` and ``check``: documents, text, bad input."""

from __future__ import annotations

import json
from collections.abc import Iterable
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from pitlogger.cli.instruments.check import check
from pitlogger.cli.records.safety import policy, safety
from pitlogger.errors import CaptureError, ConfigError, CookFileError, QuantityError
from pitlogger.safety.cooling import steps_of
from pitlogger.safety.policy import shipped_policy

T0 = 1_790_000_000
COOK = """
[cook]
name = "harvest supper"
[[piece]]
id = "brisket-1"
cut = "brisket-packer"
mass = "6.4 kg"
[[piece]]
id = "butt-1"
cut = "pork-butt"
[[channel]]
id = "brisket-1/core"
site = "core"
piece = "brisket-1"
[[channel]]
id = "pit"
site = "pit"
"""
S_KEYS = {"applies", "met", "source", "reason"}
V_KEYS = {"from_c", "to_c", "limit_s", "took_s", "met", "source"}


def celsius(f: float) -> float:
    return round((f - 32) / 1.8, 3)


def ramp(name: str, *points: tuple[float, float], every_s: int = 60) -> list[dict[str, Any]]:
    """Return SenML records on straight lines between (minutes, F) points."""
    records = []
    for (t0, f0), (t1, f1) in pairwise(points):
        steps = round((t1 - t0) * 60 / every_s)
        records += [
            {"n": name, "u": "Cel", "v": celsius(f0 + (f1 - f0) * i / steps),
             "t": T0 + t0 * 60 + i * every_s}
            for i in range(steps)
        ]  # fmt: skip
    return [*records, {"n": name, "u": "Cel", "v": celsius(points[-1][1]),
                       "t": T0 + points[-1][0] * 60}]  # fmt: skip


def stage(minute: float, word: str, piece: str = "brisket-1") -> dict[str, Any]:
    return {"n": f"{piece}/stage", "vs": word, "t": T0 + minute * 60}


WHOLE = [
    *ramp("brisket-1/core", (0, 45), (600, 203), (720, 150), (800, 135), (900, 70), (1100, 41),
          (1110, 40)),
    *ramp("pit", (0, 225), (1110, 225), every_s=600),
    stage(0, "smoking"), stage(600, "resting"), stage(700, "holding"), stage(790, "cooling"),
    stage(0, "smoking", "butt-1"), stage(650, "resting", "butt-1"), stage(700, "cooling", "butt-1"),
]  # fmt: skip


@pytest.fixture
def files(tmp_path: Path) -> Any:
    def write(records: Iterable[dict[str, Any]], cook: str = COOK) -> list[str]:
        capture, cook_file = tmp_path / "a.senml", tmp_path / "cook.toml"
        capture.write_text("".join(json.dumps([r]) + "\n" for r in records), encoding="utf-8")
        cook_file.write_text(cook, encoding="utf-8")
        return [str(capture), "--cook", str(cook_file)]

    return write


def run(command: Any, args: list[str]) -> Result:
    result = CliRunner().invoke(command, args)
    if result.exception and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result


def judged(args: list[str]) -> dict[str, Any]:
    document: dict[str, Any] = json.loads(run(safety, [*args, "--json"]).output)
    return document


def piece(document: dict[str, Any], name: str = "brisket-1") -> dict[str, Any]:
    found: dict[str, Any] = next(p for p in document["pieces"] if p["piece"] == name)
    return found


def test_a_whole_cook_is_judged_with_every_key(files: Any) -> None:
    document = judged(files(WHOLE))
    assert document["policy"] == "retail-food-code"
    brisket = piece(document)
    for key in ("holding", "cooling", "come_up", "lethality", "growth", "cold_hold", "reheating"):
        assert set(brisket[key]) >= S_KEYS
    assert set(brisket["cooling"]["stage_1"]) == set(brisket["cooling"]["stage_2"]) == V_KEYS
    assert {"table", "row_f", "needed_s", "had_s", "log10", "margin"} <= set(brisket["lethality"])
    assert brisket["holding"]["met"] is True
    assert brisket["cooling"]["met"] is True
    assert brisket["cooling"]["stage_1"]["took_s"] == pytest.approx(6000, abs=2)
    assert brisket["lethality"]["met"] is True
    assert brisket["lethality"]["table"] == "fsis-meat-6.5log"
    assert brisket["growth"]["met"] is None


def test_a_piece_without_a_probe_inherits_nothing(files: Any) -> None:
    butt = piece(judged(files(WHOLE)), "butt-1")
    for key in ("holding", "cooling", "lethality"):
        assert butt[key]["applies"] is True
        assert butt[key]["met"] is None
    assert butt["cooling"]["stage_1"]["met"] is None
    assert butt["lethality"]["row_f"] is None


def test_the_notes_carry_the_cautions(files: Any) -> None:
    notes = " ".join(judged(files(WHOLE))["notes"])
    for words in ("record and a reminder", "local code", "calibrated probe in the coldest spot",
                  "Doubtful food is thrown away", "oven chart"):  # fmt: skip
        assert words in notes


def test_the_policy_changes_the_limits(files: Any) -> None:
    document = judged([*files(WHOLE), "--policy", "inspected-plant"])
    first = piece(document)["cooling"]["stage_1"]
    assert document["policy"] == "inspected-plant"
    assert (first["from_c"], first["to_c"], first["limit_s"]) == (54.444, 26.667, 5400)


def test_a_policy_file_is_laid_over(files: Any, tmp_path: Path) -> None:
    own = tmp_path / "county.toml"
    own.write_text(
        '[policy]\nname = "county"\nversion = "2"\nbase = "retail-food-code"\n'
        '[hot_hold]\nvalue = "140F"\nsource = "county code"\n'
        '[hot_hold_warning]\nvalue = "145F"\nsource = "county code"\n'
    )
    document = judged([*files(WHOLE), "--policy", str(own)])
    assert document["policy"] == "county"
    assert piece(document)["holding"]["met"] is False
    assert "county code" in piece(document)["holding"]["source"]


def test_hand_readings_and_moved_probes_in_the_capture_count(files: Any) -> None:
    low = {"n": "brisket-1/spot", "u": "Cel", "v": 55.0, "t": T0 + 750 * 60}
    assert piece(judged(files([*WHOLE, low])))["holding"]["met"] is False
    moved = {"n": "journal", "t": T0 + 750 * 60,
             "vs": '{"kind": "probe-moved", "channel": "brisket-1/core"}'}  # fmt: skip
    found = piece(judged(files([*WHOLE, moved])))
    assert found["holding"]["met"] is None
    assert "moved" in found["holding"]["reason"]


def test_a_probe_that_says_open_leaves_a_hole(files: Any) -> None:
    records = [
        {"n": r["n"], "vs": "!open", "t": r["t"]}
        if r["n"] == "brisket-1/core" and 700 * 60 < r["t"] - T0 < 740 * 60
        else r
        for r in WHOLE
    ]
    assert piece(judged(files(records)))["holding"]["met"] is None


def test_an_empty_record_shows_nothing(files: Any) -> None:
    document = judged(files([]))
    assert all(p["lethality"]["met"] is None for p in document["pieces"])


def test_text_says_the_verdicts_in_words_with_their_sources(files: Any) -> None:
    text = run(safety, files(WHOLE)).output
    assert "holding: limit met" in text
    assert "not shown" in text
    assert "FDA Food Code 3-501.14(A)" in text


@pytest.mark.parametrize(
    ("record", "wanted"),
    [
        (stage(1, "smoking", "brisket-9"), r"a.senml:1: unknown piece 'brisket-9'"),
        ({"n": "brisket-1/stage", "vs": "smokin", "t": T0}, r"a.senml:1: .*did you mean"),
        ({"n": "pit", "u": "Far", "v": 1, "t": T0}, r"a.senml:1"),
    ],
)
def test_a_bad_capture_names_its_line(files: Any, record: dict[str, Any], wanted: str) -> None:
    with pytest.raises(CaptureError, match=wanted) as caught:
        run(safety, files([record]))
    assert caught.value.exit_code == 2


def test_missing_and_broken_files_say_so(files: Any, tmp_path: Path) -> None:
    capture, flag, cook_file = files(WHOLE)
    with pytest.raises(CaptureError, match="cannot be read"):
        run(safety, [str(tmp_path / "none"), flag, cook_file])
    with pytest.raises(CookFileError, match="cannot be read"):
        run(safety, [capture, flag, str(tmp_path / "none")])
    with pytest.raises(ConfigError, match="did you mean 'inspected-plant'"):
        run(safety, [capture, flag, cook_file, "--policy", "inspected-plan"])
    with pytest.raises(ConfigError, match="cannot be read"):
        run(safety, [capture, flag, cook_file, "--policy", str(tmp_path / "none.toml")])


def test_policies_are_listed_and_shown_with_sources() -> None:
    listed = json.loads(run(policy, ["list", "--json"]).output)
    assert [p["name"] for p in listed["policies"]] == [
        "home", "inspected-plant", "retail-food-code",
    ]  # fmt: skip
    shown = json.loads(run(policy, ["show", "--json"]).output)
    assert shown["limits"]["hot_hold"]["shown"] == "135 F"
    assert shown["limits"]["cooling_stage_1"]["value_s"] == 7200
    assert all(limit["source"] for limit in shown["limits"].values())
    assert "135 F" in run(policy, ["show", "retail-food-code"]).output
    assert steps_of(shipped_policy())[0].limit_ms == 7_200_000


def checked(*args: str) -> dict[str, Any]:
    document: dict[str, Any] = json.loads(run(check, [*args, "--json"]).output)
    return document


def test_ice_check_gives_error_tolerance_and_offset() -> None:
    found = checked("ice", "33F")
    assert found["expected_c"] == 0
    assert found["error_c"] == pytest.approx(0.556)
    assert found["tolerance_c"] == pytest.approx(1.111)
    assert found["offset_c"] == pytest.approx(-0.556)
    assert found["within"] is True
    assert "4-203.11(B)" in found["source"]
    assert checked("ice", "1.2C")["within"] is False
    assert checked("ice", "1.2C", "--sensor", "air")["within"] is True
    assert checked("ice", "34F", "--tolerance", "1F")["within"] is False


def test_boil_check_expects_what_the_pressure_says() -> None:
    denver = checked("boil", "202.3F", "--altitude", "5280ft")
    assert denver["expected_f"] == pytest.approx(202.31, abs=0.01)
    assert denver["within"] is True
    assert checked("boil", "212F", "--altitude", "5280ft")["within"] is False
    station = checked("boil", "99C", "--pressure", "1013.25hPa")
    assert station["expected_c"] == pytest.approx(99.974, abs=0.001)
    assert station["pressure_pa"] == 101_325


def test_scale_check_gives_error_tolerance_and_offset() -> None:
    found = checked("scale", "2503g", "--mass", "2.5kg", "--interval", "1g")
    assert (found["error_g"], found["tolerance_g"], found["within"]) == (3, 3, True)
    assert (found["region"], found["for"], found["class"]) == ("hb44", "maintenance", "iii")
    new = checked("scale", "2503g", "--mass", "2.5kg", "--interval", "1g", "--for", "acceptance")
    assert (new["tolerance_g"], new["within"], new["offset_g"]) == (1.5, False, -3)
    oiml = checked("scale", "5003g", "--mass", "5kg", "--interval", "1g", "--region", "oiml")
    assert (oiml["tolerance_g"], oiml["for"]) == (3, "in-service")


def test_checks_read_as_text_with_their_cautions() -> None:
    text = run(check, ["ice", "36F"]).output
    assert "limit not met" in text
    assert "offset to store: -4.0 F" in text
    assert "thrown away" in text
    assert (
        "at 2000 intervals"
        in run(check, ["scale", "2kg", "--mass", "2kg", "--interval", "1g"]).output
    )


@pytest.mark.parametrize(
    ("args", "wanted"),
    [
        (["ice", "32"], "no unit"),
        (["ice", "-500C"], "absolute zero"),
        (["ice", "32F", "--tolerance", "0F"], "above zero"),
        (["boil", "210F"], "altitude or a station pressure"),
        (["boil", "210F", "--altitude", "1km", "--pressure", "900hPa"], "one of them"),
        (["boil", "210F", "--altitude", "high"], "not an altitude"),
        (["boil", "210F", "--pressure", "29.9hPa"], "not an air pressure"),
        (["scale", "2", "--mass", "2kg", "--interval", "1g"], "no unit"),
        (["scale", "0g", "--mass", "0g", "--interval", "1g"], "above zero"),
        (["scale", "2kg", "--mass", "2kg", "--interval", "1g", "--region", "oiml",
          "--for", "acceptance"], "in-service"),
    ],
)  # fmt: skip
def test_a_check_that_cannot_be_read_says_why(args: list[str], wanted: str) -> None:
    with pytest.raises(QuantityError, match=wanted) as caught:
        run(check, args if args[1][0] != "-" else [args[0], "--", args[1]])
    assert caught.value.exit_code == 2
