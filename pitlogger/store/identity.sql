-- The third version. run.tag begins the short ids of its entries (model/entry_ids.py); run.batch names
-- the import a run came with. "rev" counts rewrites of a row that was complete before: of a span by late
-- readings, of a clock's offset, of a run's end; thinning is none. journal.chain links each entry to the
-- one before it in its run. entry_cook holds the further cooks an entry belongs to, as what concerns a pit
-- that two cooks share.

ALTER TABLE run ADD COLUMN tag TEXT NOT NULL DEFAULT ''

ALTER TABLE run ADD COLUMN node_uid TEXT NOT NULL DEFAULT ''

ALTER TABLE run ADD COLUMN batch TEXT NOT NULL DEFAULT ''

ALTER TABLE run ADD COLUMN rev INTEGER NOT NULL DEFAULT 0

CREATE INDEX run_tag ON run (tag)

ALTER TABLE clock ADD COLUMN rev INTEGER NOT NULL DEFAULT 0

ALTER TABLE packed ADD COLUMN rev INTEGER NOT NULL DEFAULT 0

ALTER TABLE journal ADD COLUMN chain BLOB NOT NULL DEFAULT x''

ALTER TABLE cook ADD COLUMN withdrawn INTEGER NOT NULL DEFAULT 0

CREATE TABLE entry_cook (
    cook TEXT NOT NULL, run INTEGER NOT NULL REFERENCES run, seq INTEGER NOT NULL,
    PRIMARY KEY (cook, run, seq)) WITHOUT ROWID

CREATE INDEX cook_open ON cook (run) WHERE finished_ms IS NULL
