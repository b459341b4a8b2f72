-- Tables as first made; what differs between SQLite and PostgreSQL stands in braces (tables.py).

CREATE TABLE hub (id TEXT PRIMARY KEY, version INTEGER NOT NULL)

CREATE TABLE tenant (id {id}, name TEXT NOT NULL UNIQUE)

CREATE TABLE site (
    id {id}, tenant INTEGER NOT NULL REFERENCES tenant, name TEXT NOT NULL,
    UNIQUE (tenant, name))

CREATE TABLE node (
    id {id}, uid TEXT NOT NULL UNIQUE, tenant INTEGER NOT NULL REFERENCES tenant,
    site INTEGER NOT NULL REFERENCES site, name TEXT NOT NULL, public_key {bytes} NOT NULL,
    state TEXT NOT NULL, enrolled_ms {big} NOT NULL, version TEXT NOT NULL DEFAULT '',
    received_ms {big}, cloned_ms {big})

CREATE TABLE run (
    tenant INTEGER NOT NULL, node INTEGER NOT NULL REFERENCES node, run TEXT NOT NULL,
    boot_id TEXT NOT NULL, start_ms {big} NOT NULL, start_monotonic_ms {big} NOT NULL,
    version TEXT NOT NULL, utc_trusted BOOLEAN NOT NULL, end_ms {big}, name TEXT NOT NULL,
    rev INTEGER NOT NULL, PRIMARY KEY (node, run))

CREATE TABLE clock (
    tenant INTEGER NOT NULL, node INTEGER NOT NULL, run TEXT NOT NULL, from_ms {big} NOT NULL,
    offset_ms {big} NOT NULL, trusted BOOLEAN NOT NULL, rev INTEGER NOT NULL,
    PRIMARY KEY (node, run, from_ms))

CREATE TABLE journal (
    tenant INTEGER NOT NULL, node INTEGER NOT NULL, run TEXT NOT NULL, seq {big} NOT NULL,
    t_ms {big} NOT NULL, utc_ms {big} NOT NULL, kind TEXT NOT NULL, initials TEXT NOT NULL,
    request_key TEXT, cook TEXT, alert_kind TEXT, alert_state TEXT, entry TEXT NOT NULL,
    PRIMARY KEY (node, run, seq)){journal_parts}

CREATE INDEX journal_alert ON journal (tenant, utc_ms) WHERE alert_kind IS NOT NULL

CREATE INDEX journal_cook ON journal (node, cook) WHERE cook IS NOT NULL

CREATE TABLE span (
    tenant INTEGER NOT NULL, node INTEGER NOT NULL, run TEXT NOT NULL, channel TEXT NOT NULL,
    quantity TEXT, block_ms {big} NOT NULL, rev INTEGER NOT NULL, readings INTEGER NOT NULL,
    data {bytes} NOT NULL, n {ints} NOT NULL, mean {ints} NOT NULL, low {ints} NOT NULL,
    high {ints} NOT NULL, PRIMARY KEY (node, block_ms, channel, run)){span_parts}

CREATE TABLE lost (
    tenant INTEGER NOT NULL, node INTEGER NOT NULL, run TEXT NOT NULL, from_ms {big} NOT NULL,
    to_ms {big} NOT NULL, readings INTEGER NOT NULL, reason TEXT NOT NULL,
    PRIMARY KEY (node, run, from_ms, to_ms, reason))

CREATE TABLE standing (
    node INTEGER PRIMARY KEY REFERENCES node, tenant INTEGER NOT NULL, at_ms {big} NOT NULL,
    received_ms {big} NOT NULL, alarms INTEGER NOT NULL, document TEXT NOT NULL)

CREATE TABLE cook (
    tenant INTEGER NOT NULL, site INTEGER NOT NULL, node INTEGER NOT NULL, cook TEXT NOT NULL,
    run TEXT NOT NULL, name TEXT NOT NULL, started_ms {big} NOT NULL, finished_ms {big},
    entries INTEGER NOT NULL, PRIMARY KEY (node, cook))

CREATE TABLE piece (
    tenant INTEGER NOT NULL, site INTEGER NOT NULL, node INTEGER NOT NULL, cook TEXT NOT NULL,
    piece TEXT NOT NULL, cut TEXT NOT NULL, purchased_mg {big}, servable_mg {big},
    PRIMARY KEY (node, cook, piece))

CREATE INDEX piece_cut ON piece (tenant, cut)

CREATE TABLE conflict (
    id {id}, tenant INTEGER NOT NULL, node INTEGER NOT NULL, at_ms {big} NOT NULL,
    what TEXT NOT NULL, identity TEXT NOT NULL, kept TEXT NOT NULL, given TEXT NOT NULL)

CREATE TABLE refused (
    id {id}, at_ms {big} NOT NULL, uid TEXT NOT NULL, reason TEXT NOT NULL,
    message {bytes} NOT NULL)

CREATE TABLE audit (
    id {id}, at_ms {big} NOT NULL, who TEXT NOT NULL, did TEXT NOT NULL)
