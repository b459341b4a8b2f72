-- Tables as first made; a statement to each block between blank lines.

CREATE TABLE run (
    id INTEGER PRIMARY KEY, run TEXT NOT NULL UNIQUE, node TEXT NOT NULL, boot_id TEXT NOT NULL,
    start_ms INTEGER NOT NULL, start_monotonic_ms INTEGER NOT NULL, version TEXT NOT NULL,
    utc_trusted INTEGER NOT NULL, end_ms INTEGER)

CREATE TABLE clock (
    run INTEGER NOT NULL REFERENCES run, from_ms INTEGER NOT NULL, offset_ms INTEGER NOT NULL,
    trusted INTEGER NOT NULL, PRIMARY KEY (run, from_ms)) WITHOUT ROWID

CREATE TABLE channel (
    id INTEGER PRIMARY KEY, run INTEGER NOT NULL REFERENCES run, name TEXT NOT NULL,
    quantity TEXT, UNIQUE (run, name))

CREATE TABLE cook (
    id TEXT PRIMARY KEY, name TEXT NOT NULL, run INTEGER NOT NULL REFERENCES run,
    started_ms INTEGER NOT NULL, finished_run INTEGER REFERENCES run, finished_ms INTEGER,
    readings_kept INTEGER NOT NULL DEFAULT 1)

CREATE TABLE journal (
    run INTEGER NOT NULL REFERENCES run, seq INTEGER NOT NULL, t_ms INTEGER NOT NULL,
    kind TEXT NOT NULL, initials TEXT NOT NULL, request_key TEXT, cook TEXT,
    entry TEXT NOT NULL, PRIMARY KEY (run, seq)) WITHOUT ROWID

CREATE UNIQUE INDEX journal_request ON journal (request_key) WHERE request_key IS NOT NULL

CREATE INDEX journal_cook ON journal (cook) WHERE cook IS NOT NULL

CREATE TABLE tail (
    id INTEGER PRIMARY KEY, run INTEGER NOT NULL REFERENCES run, from_ms INTEGER NOT NULL,
    to_ms INTEGER NOT NULL, readings INTEGER NOT NULL, data BLOB NOT NULL)

CREATE TABLE packed (
    id INTEGER PRIMARY KEY, block_ms INTEGER NOT NULL, channel INTEGER NOT NULL REFERENCES channel,
    readings INTEGER NOT NULL, data BLOB NOT NULL, UNIQUE (block_ms, channel))

CREATE TABLE rollup (
    t_ms INTEGER NOT NULL, channel INTEGER NOT NULL REFERENCES channel,
    n INTEGER NOT NULL, mean INTEGER NOT NULL, low INTEGER NOT NULL, high INTEGER NOT NULL,
    {part_columns},
    PRIMARY KEY (t_ms, channel)) WITHOUT ROWID

CREATE TABLE lost (
    id INTEGER PRIMARY KEY, run INTEGER NOT NULL REFERENCES run, from_ms INTEGER NOT NULL,
    to_ms INTEGER NOT NULL, readings INTEGER NOT NULL, reason TEXT NOT NULL)

CREATE TABLE snapshot (
    id INTEGER PRIMARY KEY, run INTEGER NOT NULL REFERENCES run, t_ms INTEGER NOT NULL,
    version TEXT NOT NULL, body BLOB NOT NULL)

CREATE TABLE outbox (
    id TEXT PRIMARY KEY, alert TEXT NOT NULL, channel TEXT NOT NULL, body TEXT NOT NULL,
    created_ms INTEGER NOT NULL, tries INTEGER NOT NULL, next_try_ms INTEGER NOT NULL,
    last_error TEXT NOT NULL, done INTEGER NOT NULL)

CREATE INDEX outbox_due ON outbox (next_try_ms) WHERE NOT done
