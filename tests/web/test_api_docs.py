"""The page about the API names what there is, and its notebook runs against a served node."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from pitlogger.web.access.roles import Role
from tests.browser.staging import staged

DOCS = Path(__file__).parents[2] / "docs"
NOTEBOOK = DOCS / "notebooks" / "over-the-network.ipynb"


@pytest.mark.slow
def test_the_notebook_runs_against_a_node(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    with staged(tmp_path, 9.0) as stage:
        _, key = stage.access.admit("program", "notebook", Role.HANDS)
        monkeypatch.setenv("PITLOGGER_NODE", stage.address)
        monkeypatch.setenv("PITLOGGER_KEY", key)
        cells = json.loads(NOTEBOOK.read_text(encoding="utf-8"))["cells"]
        held: dict[str, object] = {}
        for cell in cells:
            if cell["cell_type"] == "code":
                exec("".join(cell["source"]), held)
        notes = [noted.text for _, noted in stage.daemon.engine.book.notes]
        held["node"].close()  # type: ignore[attr-defined]
    said = capsys.readouterr().out
    assert "looked at from a notebook" in notes
    for part in ("brisket-1", "purchased to trimmed", "200 entry"):
        assert part in said


@pytest.mark.slow
def test_every_address_that_the_page_names_is_there(tmp_path: Path) -> None:
    import httpx

    text = (DOCS / "api.md").read_text(encoding="utf-8")
    with staged(tmp_path, None) as stage:
        _, key = stage.access.admit("program", "reader", Role.LOOK)
        headers = {"Authorization": f"Bearer {key}"}
        described = httpx.get(f"{stage.address}api/v1/openapi.json", headers=headers).json()
    known = [re.sub(r"\{\w+\}", "[^/]+", path) for path in described["paths"]]
    named = set(re.findall(r"/api/v1/[\w/%-]+(?:\.json)?", text)) - {"/api/v1/openapi.json"}
    assert len(named) > 8
    for path in named:
        assert any(re.fullmatch(one, path.rstrip("/")) for one in known), path
