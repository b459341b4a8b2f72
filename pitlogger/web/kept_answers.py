"""What was answered about a spreadsheet, kept for the next file with the same columns.

A small file beside the record, ``sheets.json``: the header as a digest, and the answers that hold
for any file of that form. One that cannot be read is as none: it is asked again.
"""

from __future__ import annotations

import json
import logging
from pathlib import Path

from pitlogger.files import write_whole
from pitlogger.formats.json_text import parse_json
from pitlogger.formats.workbook import SHEET
from pitlogger.questions import Answers

log = logging.getLogger(__name__)

FILE = "sheets.json"
MOST = 100  # headers


def kept_answers(data: Path, header: str) -> Answers:
    """Return what was answered about the last file with this header."""
    return Answers(tuple(_read(data).get(header, ())))


def keep_answers(data: Path, header: str, answers: Answers) -> None:
    """Keep the answers that hold for the next file too: which day or month is no such one.

    Waits for the disk.
    """
    passing = ("yes", SHEET)
    lasting = [one.partition(":")[0] for one in answers.all if not one.startswith(passing)]
    kept = _read(data)
    if not lasting or kept.get(header) == lasting:
        return
    kept.pop(header, None)
    newest = list({**kept, header: lasting}.items())[-MOST:]
    try:
        write_whole(data / FILE, json.dumps(dict(newest), ensure_ascii=False, indent=1))
    except OSError as fault:  # then it is asked again next time
        log.warning("%s was not kept: %s", data / FILE, fault)


def _read(data: Path) -> dict[str, list[str]]:
    try:
        found = parse_json((data / FILE).read_bytes())
    except (OSError, ValueError):
        return {}
    if not isinstance(found, dict):
        return {}
    return {
        str(header): [str(one) for one in answers]
        for header, answers in found.items()
        if isinstance(answers, list)
    }
