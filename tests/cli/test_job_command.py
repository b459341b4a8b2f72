"""A job on the command line: the hour as it was typed, fields of its file by their keys."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from pitlogger.cli import main

NEW = ("--guests", "120", "--place", "orchard", "--menu", "brisket-packer", "--name", "wedding")


@pytest.mark.parametrize("offset", ["-05:00", "+02:00", "+00:00"])
def test_the_hour_of_serving_keeps_the_offset_of_its_place(tmp_path: Path, offset: str) -> None:
    """Five in the afternoon there is no late evening, whatever zone this computer is in."""
    file = tmp_path / "job.toml"
    hour = f"2027-06-19T17:00{offset}"
    with pytest.raises(SystemExit) as ended:
        main(["job", "new", str(file), "--serve-at", hour, *NEW])
    assert ended.value.code == 0
    kept = tomllib.loads(file.read_text(encoding="utf-8"))["job"]["serve_at"]
    assert str(kept) == hour


def test_a_key_of_the_file_is_named_as_a_key(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "job.toml"
    file.write_text(
        '[job]\nname = "wedding"\nguests = 20\nserve_at = "2027-06-19T17:00-05:00"\n'
        'cancelled = true\n[[meat]]\ncut = "pork-butt"\nshare_pct = 100\n',
        encoding="utf-8",
    )
    with pytest.raises(SystemExit):
        main(["job", "issue", "quote", str(file)])
    assert capsys.readouterr().err.startswith("pitlogger: job.cancelled: ")


def test_another_kind_of_file_is_refused_in_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "supper.toml"
    file.write_text('[cook]\nname = "x"\n[[piece]]\nid = "b"\ncut = "pork-butt"\n', "utf-8")
    with pytest.raises(SystemExit):
        main(["job", "show", str(file)])
    told = capsys.readouterr().err
    assert told.count("\n") == 1
    assert "another kind of file: it has cook, piece; expected version, job" in told
