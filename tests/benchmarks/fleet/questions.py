"""How fast one firm's questions are answered, as its owner, with row-level security on.

400 cooks with their spans and alarms, 260 000 pieces on 3 334 sites of 100 firms.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable, Iterator

from pitlogger.hub.logs import FirmCook, cook_minutes
from pitlogger.hub.members import Member, seen_by
from pitlogger.hub.opening import open_sink
from pitlogger.hub.postgres import PostgresDatabase
from pitlogger.hub.questions import exceptions, site_yields, standing
from tests.benchmarks.fleet.ingest import took
from tests.benchmarks.row import Row
from tools.fleet.pits import BLOCK_MS, START_MS, enrol, make_pits, simulated_cook
from tools.fleet.servers import Postgres

PITS, HOURS, DAY_MS = 400, 2.0, 86_400_000
_FILL = (
    (
        "INSERT INTO site (tenant, name) SELECT 1 + g % 100, 'place ' || g"
        " FROM generate_series(1, 3334) g"
    ),
    (
        "INSERT INTO piece (tenant, site, node, cook, piece, cut, purchased_mg, servable_mg)"
        " SELECT 1 + g % 100, (SELECT id FROM site WHERE name = 'place 1') - 1 + g % 100"
        " + 100 * (1 + g / 100 % 33), 1 + 4 * (g % 100) + g / 100 % 4, 'c' || g, 'p',"
        " (ARRAY['pork-butt', 'brisket-packer', 'tri-tip'])[1 + g % 3],"
        " 5000000, (5000000 * (0.45 + 0.1 * random()))::bigint FROM generate_series(1, 260000) g"
    ),
    (
        "INSERT INTO standing (node, tenant, at_ms, received_ms, alarms, document)"
        " SELECT id, tenant, 1, 1, 0, '{\"pieces\": []}' FROM node"
    ),
    (
        "INSERT INTO journal (tenant, node, run, seq, t_ms, utc_ms, kind, initials, alert_kind,"
        " entry)"
        " SELECT node.tenant, node.id, 'r', 1000 + g, 1, {start} + g * 1000, 'alert-changed', '',"
        ' \'pit-low\', \'{{"alert": "pit-low/\' || g || \'", "now": "unacknowledged"}}\''
        " FROM node, generate_series(1, 50) g"
    ),
)


def rows(server: Postgres) -> Iterator[Row]:
    """Measure."""
    server.run("createdb", "questions")
    sink = open_sink(server.address("questions"), create=True)
    database = sink.database
    assert isinstance(database, PostgresDatabase)
    pits = make_pits(PITS, 3)
    for at in range(0, PITS, 4):
        enrol(sink, f"firm {at // 4}", pits[at : at + 4], sites=2)
    cook = simulated_cook(HOURS, every_s=10)
    took(sink, [(pit.uid, pit.tells(bundle, number))
                for number, bundle in enumerate(cook, 1) for pit in pits])  # fmt: skip
    for statement in _FILL:
        database.run(statement.format(start=START_MS) if "{start}" in statement else statement)
    database.run("ANALYZE")
    ((tenant,),) = database.ask("SELECT id FROM tenant WHERE name = 'firm 0'")
    owner = Member(1, tenant, "Ada", "owner", (), None)
    uid = pits[0].uid
    row = FirmCook(uid, "supper", "supper", "", START_MS, START_MS + round(HOURS * 6) * BLOCK_MS, 0)
    asked: dict[str, Callable[[], object]] = {
        "now": lambda: standing(database, tenant, START_MS),
        "exceptions": lambda: exceptions(database, tenant, START_MS, START_MS + DAY_MS),
        "yields": lambda: site_yields(database, tenant),
        "chart": lambda: cook_minutes(database, tenant, uid, row),
    }
    for name, question in asked.items():
        times = []
        for _ in range(5):
            began_s = time.perf_counter()
            with seen_by(database, owner):
                assert question() != [], name
            times.append((time.perf_counter() - began_s) * 1000)
        yield Row(f"fleet-question-{name}", statistics.median(times), "ms")
    database.close()
