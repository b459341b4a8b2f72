"""Tables and views of the database, as first made; later changes stand in ``migrations.py``.

Column names carry units: ``_ms`` milliseconds; masses and temperatures are milli-units of
the channel's quantity (mg, milli-degC, milli-percent). ``t_ms`` is engine time of the run.
``run`` and ``channel`` columns hold the numbers of those tables; the views give the names.
"""

from __future__ import annotations

import hashlib

APPLICATION_ID = 0x7069746C  # "pitl", so that `file` and others can tell what it is
PARTS = 6  # ten-second parts of a rolled-up minute
PART_MS = 10_000
MINUTE_MS = 60_000
BLOCK_MS = 600_000  # span of a packed row

_PART_COLUMNS = ",\n    ".join(
    f"n{part} INTEGER, mean{part} INTEGER, low{part} INTEGER, high{part} INTEGER"
    for part in range(PARTS)
)

TABLES = (
    """CREATE TABLE run (
    id INTEGER PRIMARY KEY, run TEXT NOT NULL UNIQUE, node TEXT NOT NULL, boot_id TEXT NOT NULL,
    start_ms INTEGER NOT NULL, start_monotonic_ms INTEGER NOT NULL, version TEXT NOT NULL,
    utc_trusted INTEGER NOT NULL, end_ms INTEGER)""",
    """CREATE TABLE clock (
    run INTEGER NOT NULL REFERENCES run, from_ms INTEGER NOT NULL, offset_ms INTEGER NOT NULL,
    trusted INTEGER NOT NULL, PRIMARY KEY (run, from_ms)) WITHOUT ROWID""",
    """CREATE TABLE channel (
    id INTEGER PRIMARY KEY, run INTEGER NOT NULL REFERENCES run, name TEXT NOT NULL,
    quantity TEXT, UNIQUE (run, name))""",
    """CREATE TABLE cook (
    id TEXT PRIMARY KEY, name TEXT NOT NULL, run INTEGER NOT NULL REFERENCES run,
    started_ms INTEGER NOT NULL, finished_run INTEGER REFERENCES run, finished_ms INTEGER,
    readings_kept INTEGER NOT NULL DEFAULT 1)""",
    """CREATE TABLE journal (
    run INTEGER NOT NULL REFERENCES run, seq INTEGER NOT NULL, t_ms INTEGER NOT NULL,
    kind TEXT NOT NULL, initials TEXT NOT NULL, request_key TEXT, cook TEXT,
    entry TEXT NOT NULL, PRIMARY KEY (run, seq)) WITHOUT ROWID""",
    "CREATE UNIQUE INDEX journal_request ON journal (request_key) WHERE request_key IS NOT NULL",
    "CREATE INDEX journal_cook ON journal (cook) WHERE cook IS NOT NULL",
    """CREATE TABLE tail (
    id INTEGER PRIMARY KEY, run INTEGER NOT NULL REFERENCES run, from_ms INTEGER NOT NULL,
    to_ms INTEGER NOT NULL, readings INTEGER NOT NULL, data BLOB NOT NULL)""",
    """CREATE TABLE packed (
    id INTEGER PRIMARY KEY, block_ms INTEGER NOT NULL, channel INTEGER NOT NULL REFERENCES channel,
    readings INTEGER NOT NULL, data BLOB NOT NULL, UNIQUE (block_ms, channel))""",
    f"""CREATE TABLE rollup (
    t_ms INTEGER NOT NULL, channel INTEGER NOT NULL REFERENCES channel,
    n INTEGER NOT NULL, mean INTEGER NOT NULL, low INTEGER NOT NULL, high INTEGER NOT NULL,
    {_PART_COLUMNS},
    PRIMARY KEY (t_ms, channel)) WITHOUT ROWID""",
    """CREATE TABLE lost (
    id INTEGER PRIMARY KEY, run INTEGER NOT NULL REFERENCES run, from_ms INTEGER NOT NULL,
    to_ms INTEGER NOT NULL, readings INTEGER NOT NULL, reason TEXT NOT NULL)""",
    """CREATE TABLE snapshot (
    id INTEGER PRIMARY KEY, run INTEGER NOT NULL REFERENCES run, t_ms INTEGER NOT NULL,
    version TEXT NOT NULL, body BLOB NOT NULL)""",
    """CREATE TABLE outbox (
    id TEXT PRIMARY KEY, alert TEXT NOT NULL, channel TEXT NOT NULL, body TEXT NOT NULL,
    created_ms INTEGER NOT NULL, tries INTEGER NOT NULL, next_try_ms INTEGER NOT NULL,
    last_error TEXT NOT NULL, done INTEGER NOT NULL)""",
    "CREATE INDEX outbox_due ON outbox (next_try_ms) WHERE NOT done",
)


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

# -- the third version ---------------------------------------------------------------------
#
# run.tag begins the short ids of its entries (``model/entry_ids.py``); run.batch names the
# import a run came with. ``rev`` counts rewrites of a row that was complete before: of a span
# by late readings, of a clock's offset, of a run's end; thinning is none. journal.chain links
# each entry to the one before it in its run. entry_cook holds the further cooks an entry
# belongs to, as what concerns a pit that two cooks share.
IDENTITY = (
    "ALTER TABLE run ADD COLUMN tag TEXT NOT NULL DEFAULT ''",
    "ALTER TABLE run ADD COLUMN node_uid TEXT NOT NULL DEFAULT ''",
    "ALTER TABLE run ADD COLUMN batch TEXT NOT NULL DEFAULT ''",
    "ALTER TABLE run ADD COLUMN rev INTEGER NOT NULL DEFAULT 0",
    "CREATE INDEX run_tag ON run (tag)",
    "ALTER TABLE clock ADD COLUMN rev INTEGER NOT NULL DEFAULT 0",
    "ALTER TABLE packed ADD COLUMN rev INTEGER NOT NULL DEFAULT 0",
    "ALTER TABLE journal ADD COLUMN chain BLOB NOT NULL DEFAULT x''",
    "ALTER TABLE cook ADD COLUMN withdrawn INTEGER NOT NULL DEFAULT 0",
    """CREATE TABLE entry_cook (
    cook TEXT NOT NULL, run INTEGER NOT NULL REFERENCES run, seq INTEGER NOT NULL,
    PRIMARY KEY (cook, run, seq)) WITHOUT ROWID""",
    "CREATE INDEX cook_open ON cook (run) WHERE finished_ms IS NULL",
)


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
