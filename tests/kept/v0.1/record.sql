BEGIN TRANSACTION;
CREATE TABLE channel (
    id INTEGER PRIMARY KEY, run INTEGER NOT NULL REFERENCES run, name TEXT NOT NULL,
    quantity TEXT, UNIQUE (run, name));
INSERT INTO "channel" VALUES(1,1,'probe-0','temperature');
INSERT INTO "channel" VALUES(2,1,'probe-1','temperature');
CREATE TABLE clock (
    run INTEGER NOT NULL REFERENCES run, from_ms INTEGER NOT NULL, offset_ms INTEGER NOT NULL,
    trusted INTEGER NOT NULL, rev INTEGER NOT NULL DEFAULT 0, PRIMARY KEY (run, from_ms)) WITHOUT ROWID;
CREATE TABLE cook (
    id TEXT PRIMARY KEY, name TEXT NOT NULL, run INTEGER NOT NULL REFERENCES run,
    started_ms INTEGER NOT NULL, finished_run INTEGER REFERENCES run, finished_ms INTEGER,
    readings_kept INTEGER NOT NULL DEFAULT 1, withdrawn INTEGER NOT NULL DEFAULT 0);
INSERT INTO "cook" VALUES('supper','supper',1,1790000401000,1,1790000407000,1,0);
CREATE TABLE entry_cook (
    cook TEXT NOT NULL, run INTEGER NOT NULL REFERENCES run, seq INTEGER NOT NULL,
    PRIMARY KEY (cook, run, seq)) WITHOUT ROWID;
CREATE TABLE journal (
    run INTEGER NOT NULL REFERENCES run, seq INTEGER NOT NULL, t_ms INTEGER NOT NULL,
    kind TEXT NOT NULL, initials TEXT NOT NULL, request_key TEXT, cook TEXT,
    entry TEXT NOT NULL, chain BLOB NOT NULL DEFAULT x'', PRIMARY KEY (run, seq)) WITHOUT ROWID;
INSERT INTO "journal" VALUES(1,1,1790000401000,'cook-started','AB','k7qm-3v9xw2pd-1','supper','{"run":"k7qm-3v9xw2pd","seq":1,"t_ms":1790000401000,"by":"AB","key":"k7qm-3v9xw2pd-1","kind":"cook-started","cook":{"name":"supper","pieces":[{"id":"brisket-1","cut":"brisket-packer","count":1,"wrap_on":[],"prepared":"intact","parents":[]}],"channels":[],"services":[],"altitude_m":0.0,"timers":[]}}',X'B1C8D648B09397D75B7C4D95253CAADDC738A66168231FCDA470E69E0A1E2BB3');
INSERT INTO "journal" VALUES(1,2,1790000402000,'weighed','AB','k7qm-3v9xw2pd-2','supper','{"run":"k7qm-3v9xw2pd","seq":2,"t_ms":1790000402000,"by":"AB","key":"k7qm-3v9xw2pd-2","kind":"weighed","piece":"brisket-1","checkpoint":"purchased","gross_mg":6300000,"tare_mg":0,"at_ms":1790000400000,"source":"typed","interval_mg":0,"preset_tare":false}',X'F3859B1C04A2F2317DB230AE3F5B8BCAF0B3A2DD616982A16B2DAB52E3B6DC44');
INSERT INTO "journal" VALUES(1,3,1790000403000,'stage-set','AB','k7qm-3v9xw2pd-3','supper','{"run":"k7qm-3v9xw2pd","seq":3,"t_ms":1790000403000,"by":"AB","key":"k7qm-3v9xw2pd-3","kind":"stage-set","piece":"brisket-1","stage":"smoking","at_ms":1790000401000}',X'C579F4FBA8E0D56B59AA582B7C8830A00412E73F6B9CFB31538DA5A4891F0304');
INSERT INTO "journal" VALUES(1,4,1790000404000,'noted','AB','k7qm-3v9xw2pd-4','supper','{"run":"k7qm-3v9xw2pd","seq":4,"t_ms":1790000404000,"by":"AB","key":"k7qm-3v9xw2pd-4","kind":"noted","text":"lit with oak, wind from the west ☂"}',X'11D93532FCE5CA04A1435AFD802149E261784B3C4A3019AB8C048B773311F50B');
INSERT INTO "journal" VALUES(1,5,1790000405000,'stage-set','AB','k7qm-3v9xw2pd-5','supper','{"run":"k7qm-3v9xw2pd","seq":5,"t_ms":1790000405000,"by":"AB","key":"k7qm-3v9xw2pd-5","kind":"stage-set","piece":"brisket-1","stage":"carved","at_ms":1790040400000}',X'13DBEE3BD12C38FC73D8F3A735F277914EB901A2C25CCDC508A338C5F848D2C1');
INSERT INTO "journal" VALUES(1,6,1790000406000,'weighed','AB','k7qm-3v9xw2pd-6','supper','{"run":"k7qm-3v9xw2pd","seq":6,"t_ms":1790000406000,"by":"AB","key":"k7qm-3v9xw2pd-6","kind":"weighed","piece":"brisket-1","checkpoint":"carved","gross_mg":3150000,"tare_mg":0,"at_ms":1790040400000,"source":"typed","interval_mg":0,"preset_tare":false}',X'EFBB005E71390DA6B1306D48469799DA5A8858F414A649761FD2EE6821F64550');
INSERT INTO "journal" VALUES(1,7,1790000407000,'cook-finished','AB','k7qm-3v9xw2pd-7','supper','{"run":"k7qm-3v9xw2pd","seq":7,"t_ms":1790000407000,"by":"AB","key":"k7qm-3v9xw2pd-7","kind":"cook-finished","name":"supper"}',X'21E93D771C068BA98FD5FCA9C27358316EECA9402B5C1F8AE42B7B0188C6A764');
CREATE TABLE lost (
    id INTEGER PRIMARY KEY, run INTEGER NOT NULL REFERENCES run, from_ms INTEGER NOT NULL,
    to_ms INTEGER NOT NULL, readings INTEGER NOT NULL, reason TEXT NOT NULL);
CREATE TABLE outbox (
    id TEXT PRIMARY KEY, alert TEXT NOT NULL, channel TEXT NOT NULL, body TEXT NOT NULL,
    created_ms INTEGER NOT NULL, tries INTEGER NOT NULL, next_try_ms INTEGER NOT NULL,
    last_error TEXT NOT NULL, done INTEGER NOT NULL);
CREATE TABLE packed (
    id INTEGER PRIMARY KEY, block_ms INTEGER NOT NULL, channel INTEGER NOT NULL REFERENCES channel,
    readings INTEGER NOT NULL, data BLOB NOT NULL, rev INTEGER NOT NULL DEFAULT 0, UNIQUE (block_ms, channel));
INSERT INTO "packed" VALUES(1,1790000400000,1,120,X'017800809AB4C59868D00F0100C0A9070201000000010078',0);
INSERT INTO "packed" VALUES(2,1790000400000,2,120,X'017800809AB4C59868D00F0100C0A9070201000000010078',0);
CREATE TABLE rollup (
    t_ms INTEGER NOT NULL, channel INTEGER NOT NULL REFERENCES channel,
    n INTEGER NOT NULL, mean INTEGER NOT NULL, low INTEGER NOT NULL, high INTEGER NOT NULL,
    n0 INTEGER, mean0 INTEGER, low0 INTEGER, high0 INTEGER,
    n1 INTEGER, mean1 INTEGER, low1 INTEGER, high1 INTEGER,
    n2 INTEGER, mean2 INTEGER, low2 INTEGER, high2 INTEGER,
    n3 INTEGER, mean3 INTEGER, low3 INTEGER, high3 INTEGER,
    n4 INTEGER, mean4 INTEGER, low4 INTEGER, high4 INTEGER,
    n5 INTEGER, mean5 INTEGER, low5 INTEGER, high5 INTEGER,
    PRIMARY KEY (t_ms, channel)) WITHOUT ROWID;
INSERT INTO "rollup" VALUES(1790000400000,1,60,60030,30,29,NULL,-26,0,50,NULL,-16,10,40,NULL,-6,20,30,NULL,4,30,20,NULL,14,40,10,NULL,24,50,0);
INSERT INTO "rollup" VALUES(1790000400000,2,60,60030,30,29,NULL,-26,0,50,NULL,-16,10,40,NULL,-6,20,30,NULL,4,30,20,NULL,14,40,10,NULL,24,50,0);
INSERT INTO "rollup" VALUES(1790000460000,1,60,60090,30,29,NULL,-26,0,50,NULL,-16,10,40,NULL,-6,20,30,NULL,4,30,20,NULL,14,40,10,NULL,24,50,0);
INSERT INTO "rollup" VALUES(1790000460000,2,60,60090,30,29,NULL,-26,0,50,NULL,-16,10,40,NULL,-6,20,30,NULL,4,30,20,NULL,14,40,10,NULL,24,50,0);
CREATE TABLE run (
    id INTEGER PRIMARY KEY, run TEXT NOT NULL UNIQUE, node TEXT NOT NULL, boot_id TEXT NOT NULL,
    start_ms INTEGER NOT NULL, start_monotonic_ms INTEGER NOT NULL, version TEXT NOT NULL,
    utc_trusted INTEGER NOT NULL, end_ms INTEGER, tag TEXT NOT NULL DEFAULT '', node_uid TEXT NOT NULL DEFAULT '', batch TEXT NOT NULL DEFAULT '', rev INTEGER NOT NULL DEFAULT 0);
INSERT INTO "run" VALUES(1,'k7qm-3v9xw2pd','trailer','boot-1',1790000400000,5000,'0.2.0',1,1790000519000,'k7qm','','',1);
CREATE TABLE snapshot (
    id INTEGER PRIMARY KEY, run INTEGER NOT NULL REFERENCES run, t_ms INTEGER NOT NULL,
    version TEXT NOT NULL, body BLOB NOT NULL);
CREATE TABLE tail (
    id INTEGER PRIMARY KEY, run INTEGER NOT NULL REFERENCES run, from_ms INTEGER NOT NULL,
    to_ms INTEGER NOT NULL, readings INTEGER NOT NULL, data BLOB NOT NULL);
CREATE UNIQUE INDEX journal_request ON journal (request_key) WHERE request_key IS NOT NULL;
CREATE INDEX journal_cook ON journal (cook) WHERE cook IS NOT NULL;
CREATE INDEX outbox_due ON outbox (next_try_ms) WHERE NOT done;
CREATE VIEW reading_60s AS SELECT run.node, run.run, channel.name AS channel, channel.quantity, rollup.t_ms, rollup.t_ms + coalesce((SELECT offset_ms FROM clock WHERE clock.run = run.id AND clock.from_ms <= rollup.t_ms ORDER BY clock.from_ms DESC LIMIT 1), 0) AS utc_ms, n, mean - low AS min, mean + high AS max, mean FROM rollup JOIN channel ON channel.id = rollup.channel JOIN run ON run.id = channel.run;
CREATE VIEW reading_10s AS SELECT run.node, run.run, channel.name AS channel, channel.quantity, rollup.t_ms AS minute_ms, rollup.t_ms + 0 AS t_ms, (rollup.t_ms + 0) + coalesce((SELECT offset_ms FROM clock WHERE clock.run = run.id AND clock.from_ms <= (rollup.t_ms + 0) ORDER BY clock.from_ms DESC LIMIT 1), 0) AS utc_ms, coalesce(n0, n / 6) AS n, mean - low + low0 AS min, mean + high - high0 AS max, mean + mean0 AS mean FROM rollup JOIN channel ON channel.id = rollup.channel JOIN run ON run.id = channel.run WHERE mean0 IS NOT NULL UNION ALL SELECT run.node, run.run, channel.name AS channel, channel.quantity, rollup.t_ms AS minute_ms, rollup.t_ms + 10000 AS t_ms, (rollup.t_ms + 10000) + coalesce((SELECT offset_ms FROM clock WHERE clock.run = run.id AND clock.from_ms <= (rollup.t_ms + 10000) ORDER BY clock.from_ms DESC LIMIT 1), 0) AS utc_ms, coalesce(n1, n / 6) AS n, mean - low + low1 AS min, mean + high - high1 AS max, mean + mean1 AS mean FROM rollup JOIN channel ON channel.id = rollup.channel JOIN run ON run.id = channel.run WHERE mean1 IS NOT NULL UNION ALL SELECT run.node, run.run, channel.name AS channel, channel.quantity, rollup.t_ms AS minute_ms, rollup.t_ms + 20000 AS t_ms, (rollup.t_ms + 20000) + coalesce((SELECT offset_ms FROM clock WHERE clock.run = run.id AND clock.from_ms <= (rollup.t_ms + 20000) ORDER BY clock.from_ms DESC LIMIT 1), 0) AS utc_ms, coalesce(n2, n / 6) AS n, mean - low + low2 AS min, mean + high - high2 AS max, mean + mean2 AS mean FROM rollup JOIN channel ON channel.id = rollup.channel JOIN run ON run.id = channel.run WHERE mean2 IS NOT NULL UNION ALL SELECT run.node, run.run, channel.name AS channel, channel.quantity, rollup.t_ms AS minute_ms, rollup.t_ms + 30000 AS t_ms, (rollup.t_ms + 30000) + coalesce((SELECT offset_ms FROM clock WHERE clock.run = run.id AND clock.from_ms <= (rollup.t_ms + 30000) ORDER BY clock.from_ms DESC LIMIT 1), 0) AS utc_ms, coalesce(n3, n / 6) AS n, mean - low + low3 AS min, mean + high - high3 AS max, mean + mean3 AS mean FROM rollup JOIN channel ON channel.id = rollup.channel JOIN run ON run.id = channel.run WHERE mean3 IS NOT NULL UNION ALL SELECT run.node, run.run, channel.name AS channel, channel.quantity, rollup.t_ms AS minute_ms, rollup.t_ms + 40000 AS t_ms, (rollup.t_ms + 40000) + coalesce((SELECT offset_ms FROM clock WHERE clock.run = run.id AND clock.from_ms <= (rollup.t_ms + 40000) ORDER BY clock.from_ms DESC LIMIT 1), 0) AS utc_ms, coalesce(n4, n / 6) AS n, mean - low + low4 AS min, mean + high - high4 AS max, mean + mean4 AS mean FROM rollup JOIN channel ON channel.id = rollup.channel JOIN run ON run.id = channel.run WHERE mean4 IS NOT NULL UNION ALL SELECT run.node, run.run, channel.name AS channel, channel.quantity, rollup.t_ms AS minute_ms, rollup.t_ms + 50000 AS t_ms, (rollup.t_ms + 50000) + coalesce((SELECT offset_ms FROM clock WHERE clock.run = run.id AND clock.from_ms <= (rollup.t_ms + 50000) ORDER BY clock.from_ms DESC LIMIT 1), 0) AS utc_ms, coalesce(n5, n / 6) AS n, mean - low + low5 AS min, mean + high - high5 AS max, mean + mean5 AS mean FROM rollup JOIN channel ON channel.id = rollup.channel JOIN run ON run.id = channel.run WHERE mean5 IS NOT NULL;
CREATE INDEX journal_kind ON journal (kind);
CREATE INDEX outbox_created ON outbox (created_ms);
CREATE INDEX run_tag ON run (tag);
CREATE INDEX cook_open ON cook (run) WHERE finished_ms IS NULL;
CREATE VIEW journal_entry AS SELECT run.node, run.run, seq, run.tag || '-' || seq AS id, run.node_uid, journal.t_ms, journal.t_ms + coalesce((SELECT offset_ms FROM clock WHERE clock.run = journal.run AND clock.from_ms <= journal.t_ms ORDER BY clock.from_ms DESC LIMIT 1), 0) AS utc_ms, journal.t_ms - run.start_ms + run.start_monotonic_ms AS monotonic_ms, run.boot_id, kind, initials, request_key, cook, entry FROM journal JOIN run ON run.id = journal.run;
CREATE VIEW cook_span AS SELECT cook.id, cook.name, run.node, run.run, started_ms, started_ms + coalesce((SELECT offset_ms FROM clock WHERE clock.run = cook.run AND clock.from_ms <= started_ms ORDER BY clock.from_ms DESC LIMIT 1), 0) AS started_utc_ms, finished_ms, finished_ms + coalesce((SELECT offset_ms FROM clock WHERE clock.run = coalesce(finished_run, cook.run) AND clock.from_ms <= finished_ms ORDER BY clock.from_ms DESC LIMIT 1), 0) AS finished_utc_ms, readings_kept, withdrawn FROM cook JOIN run ON run.id = cook.run;
CREATE VIEW doubt_span AS SELECT node, run, seq, cook, channel, piece, reason, from_ms, max(to_ms) AS to_ms, max(believed) AS believed FROM (SELECT node, run, seq, cook, entry ->> 'channel' AS channel, entry ->> 'piece' AS piece, entry ->> 'reason' AS reason, entry ->> 'from_ms' AS from_ms, entry ->> 'to_ms' AS to_ms, coalesce(entry ->> 'believed', 0) AS believed FROM journal_entry WHERE kind = 'channel-doubted') GROUP BY node, cook, channel, reason, from_ms;
COMMIT;
PRAGMA application_id=1885959276;
PRAGMA user_version=3;
