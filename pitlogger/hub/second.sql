-- What the second version added; a database of the first is brought up to it.

ALTER TABLE hub ADD COLUMN authority TEXT

ALTER TABLE hub ADD COLUMN address TEXT

ALTER TABLE node ADD COLUMN cert_until_ms {big}

CREATE TABLE invitation (
    secret TEXT PRIMARY KEY, tenant TEXT NOT NULL, site TEXT NOT NULL, until_ms {big} NOT NULL,
    tries INTEGER NOT NULL)

CREATE TABLE member (
    id {id}, tenant INTEGER NOT NULL REFERENCES tenant, name TEXT NOT NULL, role TEXT NOT NULL,
    sites TEXT NOT NULL DEFAULT '', token TEXT NOT NULL UNIQUE, until_ms {big})

CREATE INDEX journal_corrective ON journal (tenant, utc_ms) WHERE kind = 'corrective-taken'

UPDATE hub SET version = 2
