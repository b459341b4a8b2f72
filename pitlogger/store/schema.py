"""Views of the database, as first made, and its tables (``first.sql``, ``identity.sql``).

Later changes stand in ``migrations.py``.

Column names carry units: ``_ms`` milliseconds; masses and temperatures are milli-units of
the channel's quantity (mg, milli-degC, milli-percent). ``t_ms`` is engine time of the run.
``run`` and ``channel`` columns hold the numbers of those tables; the views give the names.
"""

from __future__ import annotations

import hashlib
from importlib.resources import files

APPLICATION_ID = 0x7069746C  # "pitl", so that `file` and others can tell what it is
PARTS = 6  # ten-second parts of a rolled-up minute
PART_MS = 10_000
MINUTE_MS = 60_000
BLOCK_MS = 600_000  # span of a packed row

_PART_COLUMNS = ",\n    ".join(
    f"n{part} INTEGER, mean{part} INTEGER, low{part} INTEGER, high{part} INTEGER"
    for part in range(PARTS)
)


def statements(package: str, name: str, **parts: str) -> tuple[str, ...]:
    """Return the statements of an SQL file: a block between blank lines each, but for comments.

    Args:
        parts: What stands in place of ``{part}``.
    """
    text = (files(package) / name).read_text(encoding="utf-8")
    for part, put in parts.items():
        text = text.replace(f"{{{part}}}", put)
    return tuple(one.strip() for one in text.split("\n\n") if not one.startswith("--"))


TABLES = statements("pitlogger.store", "first.sql", part_columns=_PART_COLUMNS)


def utc(run: str, t_ms: str) -> str:
    """Return the SQL expression for the UTC milliseconds of an engine time of a run."""
    return (
        f"{t_ms} + coalesce((SELECT offset_ms FROM clock WHERE clock.run = {run}"
        f" AND clock.from_ms <= {t_ms} ORDER BY clock.from_ms DESC LIMIT 1), 0)"
    )


def _rolled(columns: str, where: str = "") -> str:
    return (
        f"SELECT run.node, run.run, channel.name AS channel, channel.quantity, {columns}"
        f" FROM rollup JOIN channel ON channel.id = rollup.channel"
        f" JOIN run ON run.id = channel.run {where}"
    )


def _part(part: int) -> str:
    """Return the rows of one ten-second part, as a SELECT."""
    t_ms = f"rollup.t_ms + {part * PART_MS}"
    return _rolled(
        f"rollup.t_ms AS minute_ms, {t_ms} AS t_ms, {utc('run.id', f'({t_ms})')} AS utc_ms,"
        f" coalesce(n{part}, n / {PARTS}) AS n, mean - low + low{part} AS min,"
        f" mean + high - high{part} AS max, mean + mean{part} AS mean",
        f"WHERE mean{part} IS NOT NULL",
    )


_JOURNAL_ENTRY = (
    "CREATE VIEW journal_entry AS SELECT run.node, run.run, seq, journal.t_ms,"
    f" {utc('journal.run', 'journal.t_ms')} AS utc_ms,"
    " journal.t_ms - run.start_ms + run.start_monotonic_ms AS monotonic_ms, run.boot_id,"
    " kind, initials, request_key, cook, entry"
    " FROM journal JOIN run ON run.id = journal.run"
)
_COOK_SPAN = (
    "CREATE VIEW cook_span AS SELECT cook.id, cook.name, run.node, run.run, started_ms,"
    f" {utc('cook.run', 'started_ms')} AS started_utc_ms, finished_ms,"
    f" {utc('coalesce(finished_run, cook.run)', 'finished_ms')} AS finished_utc_ms,"
    " readings_kept FROM cook JOIN run ON run.id = cook.run"
)
_MINUTES = _rolled(
    f"rollup.t_ms, {utc('run.id', 'rollup.t_ms')} AS utc_ms, n,"
    " mean - low AS min, mean + high AS max, mean"
)
VIEWS = (
    f"CREATE VIEW reading_60s AS {_MINUTES}",
    f"CREATE VIEW reading_10s AS {' UNION ALL '.join(_part(part) for part in range(PARTS))}",
    _JOURNAL_ENTRY,
    _COOK_SPAN,
)

IDENTITY = statements("pitlogger.store", "identity.sql")


def link(previous: bytes, text: str) -> bytes:
    """Return the chain of an entry: SHA-256 of the chain before it in its run and its text.

    The first entry of a run follows nothing.
    """
    return hashlib.sha256(previous + text.encode()).digest()


_DOUBT_SPAN = (
    "CREATE VIEW doubt_span AS SELECT node, run, seq, cook, channel, piece, reason, from_ms,"
    " max(to_ms) AS to_ms, max(believed) AS believed FROM"
    " (SELECT node, run, seq, cook, entry ->> 'channel' AS channel, entry ->> 'piece' AS piece,"
    " entry ->> 'reason' AS reason, entry ->> 'from_ms' AS from_ms, entry ->> 'to_ms' AS to_ms,"
    " coalesce(entry ->> 'believed', 0) AS believed"
    " FROM journal_entry WHERE kind = 'channel-doubted')"
    " GROUP BY node, cook, channel, reason, from_ms"
)
CHANGED_VIEWS = (
    _JOURNAL_ENTRY.replace(
        "run.run, seq,", "run.run, seq, run.tag || '-' || seq AS id, run.node_uid,"
    ),
    _COOK_SPAN.replace(" readings_kept FROM", " readings_kept, withdrawn FROM"),
    _DOUBT_SPAN,
)
