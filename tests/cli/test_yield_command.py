"""``pitlogger yield`` and ``history``: documents, text, bad input."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click
import pytest
from click.testing import CliRunner

from pitlogger.cli.ahead.history import DaemonRecord, history
from pitlogger.cli.records.import_ import import_command
from pitlogger.cli.records.yields import yield_command
from pitlogger.errors import DaemonUnreachableError, PitloggerError, UsageError
from pitlogger.formats.paper_log import PaperRow
from pitlogger.model.cooks import Cook, Piece
from pitlogger.model.folding import fold
from pitlogger.model.journal import Body, CookStarted, Entry, Weighed

WEIGHTS = (
    "purchased=14.2lb,trimmed=11.3lb,seasoned=11.52lb,at-wrap=8.95lb,rested=7.72lb,sliced=7.05lb"
)
LOG = """date,cook,piece,cut,purchased,carved,wrap,price_per_kg
2026-03-01,c1,b,brisket-packer,6.1 kg,2.95 kg,paper,9.45
2026-03-08,c2,b,brisket-packer,6.4 kg,3.27 kg,paper,9.45
2026-03-15,c3,b,brisket-packer,5.8 kg,2.71 kg,foil,9.45
"""


def run(command: click.Command, *args: str, obj: object = None) -> Any:
    result = CliRunner().invoke(command, [*args, "--json"], obj=obj, catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


def refused(command: click.Command, *args: str) -> str:
    result = CliRunner().invoke(command, list(args))
    assert isinstance(result.exception, PitloggerError)
    assert result.exception.exit_code in (2, 3)
    return str(result.exception)


@pytest.fixture
def log(tmp_path: Path) -> str:
    path = tmp_path / "log.csv"
    path.write_text(LOG, encoding="utf-8")
    return str(path)


def record() -> DaemonRecord:
    cook = Cook("harvest supper", (Piece("b", "brisket-packer"),))
    bodies: list[Body] = [
        CookStarted(cook),
        Weighed("b", "purchased", 6_400_000, 0, 1),
        Weighed("b", "carved", 3_100_000, 0, 2),
    ]
    book = fold(Entry("r", k, k, body) for k, body in enumerate(bodies, 1))
    return DaemonRecord(books=lambda: [book], add_cooks=lambda rows, batch="": (len(rows), 0))


def test_weights_give_the_document_of_the_contract_without_a_daemon() -> None:
    document = run(yield_command, "--weights", WEIGHTS)
    assert set(document) == {"cook", "pieces", "learned"}
    assert set(document["learned"]) == {"n", "median", "p10", "p90", "p2_5", "p97_5"}
    (piece,) = document["pieces"]
    assert piece["servable_pct"] == pytest.approx(49.6479, abs=1e-3)
    assert piece["u_servable_pct"] > 0
    assert piece["doubts"] == []
    step = piece["steps"][0]
    assert {"from", "to", "from_g", "to_g", "change_g", "ratio", "u_ratio"} <= set(step)
    assert step["change_g"] == pytest.approx(step["to_g"] - step["from_g"], abs=1e-3)


def test_a_doubt_is_asked_and_the_command_still_succeeds() -> None:
    (piece,) = run(yield_command, "--weights", "purchased=10lb,rested=6.0lb,sliced=6.4lb")["pieces"]
    assert [doubt["doubt"] for doubt in piece["doubts"]] == ["mass-rises"]


def test_the_text_is_a_staircase_with_the_yield_and_its_denominator() -> None:
    text = CliRunner().invoke(yield_command, ["--weights", WEIGHTS]).output
    assert "49.6 % of purchased" in text
    assert text.index("purchased") < text.index("trimmed") < text.index("carved")


def test_a_cook_on_record_is_shown_by_name() -> None:
    document = run(yield_command, "harvest supper", obj=record())
    assert document["cook"] == "harvest supper"
    assert document["pieces"][0]["servable_pct"] == pytest.approx(48.4375)
    assert document["learned"]["n"] == 1


def test_a_cut_is_learned_from_a_paper_log(log: str) -> None:
    document = run(yield_command, "--cut", "brisket-packer", "--history", log)
    assert document["learned"]["n"] == 3
    assert document["learned"]["p10"] < document["learned"]["median"] < document["learned"]["p90"]


def test_the_plant_policy_judges_the_cooked_share() -> None:
    document = run(
        yield_command, "--weights", "trimmed=10kg,off-pit=7.2kg", "--policy", "inspected-plant"
    )
    assert document["plant"][0]["met"] is False


@pytest.mark.parametrize(
    ("args", "said"),
    [
        ((), "nothing asked"),
        (("supper", "--weights", "purchased=1kg"), "not both"),
        (("--weights", "purchsed=1kg"), "did you mean 'purchased'"),
        (("--cut", "brisket"), "did you mean 'brisket-"),
        (("supper",), "no daemon answers"),
    ],
)
def test_bad_questions_are_refused_with_a_reason(args: tuple[str, ...], said: str) -> None:
    assert said in refused(yield_command, *args)


def test_an_unknown_cook_names_the_nearest() -> None:
    result = CliRunner().invoke(yield_command, ["harvest super"], obj=record())
    assert "did you mean 'harvest supper'" in str(result.exception)


def test_history_lists_pieces_and_lessons(log: str, tmp_path: Path) -> None:
    copy = tmp_path / "copy.csv"
    given = ("--history", log, "--cut", "brisket-packer", "--export", str(copy))
    document = run(history, *given)
    assert set(document) == {
        "pieces", "cuts", "prices", "eaten_per_guest_g", "meals", "notes",
    }  # fmt: skip
    assert len(document["pieces"]) == 3
    assert document["cuts"][0]["dear_steps"][0]["money"] > 0
    again = run(history, "--history", str(copy), "--cut", "brisket-packer")
    assert again["cuts"][0]["learned"] == document["cuts"][0]["learned"]


def test_history_without_a_record_says_so() -> None:
    assert "no daemon answers" in run(history)["notes"][0]


def test_import_counts_rows_and_puts_them_on_record(log: str) -> None:
    assert run(import_command, log, obj=record())["imported"] == 3


def test_a_dry_run_puts_nothing_on_record(log: str) -> None:
    document = run(import_command, log, "--dry-run")
    assert (document["rows"], document["imported"]) == (3, 0)


def test_nothing_is_half_imported(log: str) -> None:
    Path(log).write_text(LOG + "2026-03-22,c4,b,brisket-packer,6.1,2.9 kg,,\n", encoding="utf-8")
    taken: list[int] = []

    def take(rows: Sequence[PaperRow], batch: str = "") -> tuple[int, int]:
        taken.append(len(rows))
        return len(rows), 0

    spy = DaemonRecord(books=list, add_cooks=take)
    result = CliRunner().invoke(import_command, [log], obj=spy)
    assert isinstance(result.exception, UsageError)
    assert "log.csv:5" in str(result.exception)
    assert taken == []
    document = run(import_command, log, "--skip-bad", obj=spy)
    assert (document["imported"], document["faults"][0]["line"]) == (3, 5)


def test_import_without_a_daemon_is_told(log: str) -> None:
    result = CliRunner().invoke(import_command, [log])
    assert isinstance(result.exception, DaemonUnreachableError)


def test_import_asks_about_doubtful_rows(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text("cut,cook,rested,carved\ntri-tip,c,2.0 kg,2.4 kg\n", encoding="utf-8")
    assert run(import_command, str(path), "--dry-run")["doubts"][0]["doubt"] == "mass-rises"


def test_typed_weights_load_no_heavy_library() -> None:
    code = (
        "import sys; from pitlogger.cli.records.yields import yield_command\n"
        f"yield_command(['--weights', '{WEIGHTS}', '--json'], standalone_mode=False)\n"
        "heavy = {'numpy', 'pydantic', 'fastapi', 'pitlogger.model.journal'} & set(sys.modules)\n"
        "print(sorted(heavy), file=sys.stderr)"
    )
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert found.stderr.strip() == "[]"


def test_a_socket_that_is_named_is_the_one_that_is_asked(tmp_path: Path) -> None:
    result = CliRunner().invoke(
        import_command, [log_of(tmp_path), "--socket", str(tmp_path / "none.sock")]
    )
    assert isinstance(result.exception, DaemonUnreachableError)
    assert "none.sock" in str(result.exception)


def log_of(folder: Path) -> str:
    path = folder / "one.csv"
    path.write_text("cut,purchased,carved\ntri-tip,1 kg,0.8 kg\n", encoding="utf-8")
    return str(path)


@pytest.mark.parametrize(
    ("weights", "said"),
    [
        ("purchased=6 lb,trimmed=5 lb", "it was not weighed carved (or rested)\n"),
        ("trimmed=5 lb,carved=3 lb", "it was not weighed as purchased\n"),
        (
            "trimmed=5 lb,at-wrap=4 lb",
            "it was not weighed as purchased, and not carved (or rested)",
        ),
    ],
)
def test_a_yield_that_cannot_be_told_names_the_mass_that_is_missing(
    weights: str, said: str
) -> None:
    told = CliRunner().invoke(yield_command, ["--weights", weights, "--cut", "brisket-flat"])
    assert f"no servable yield: {said}" in told.output


def test_what_is_asked_about_weights_is_said_in_the_unit_of_the_masses() -> None:
    told = CliRunner().invoke(yield_command, ["--weights", "purchased=6 lb,trimmed=7 lb"])
    assert "? piece-1: 7 lb 0 oz trimmed is 1 lb 0 oz more than 6 lb 0 oz" in told.output
