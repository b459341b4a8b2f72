"""Rows as COPY reads them: what we write is what psycopg writes, byte for byte."""

from __future__ import annotations

import random
from io import BytesIO

import pytest

from pitlogger.hub import tables
from pitlogger.hub.copy_rows import copied
from pitlogger.hub.records import Row
from tests.fleet.conftest import Server


def drawn(rng: random.Random) -> Row:
    columns = [
        tuple(rng.choice((None, rng.randrange(-most, most))) for _ in range(rng.choice((3, 10))))
        if rng.random() < 0.3
        else tuple(rng.randrange(-most, most) for _ in range(10))
        for most in (1 << 15, *[1 << 31] * 3)
    ]
    return (
        1, 2, "k7qm-3v9xw2pd", rng.choice(("probe ☂", "")), rng.choice((None, "temperature")),
        rng.randrange(-(1 << 62), 1 << 62), 0, 600, rng.randbytes(rng.randrange(40)), *columns,
    )  # fmt: skip


def test_what_is_copied_is_what_an_independent_driver_copies(server: Server) -> None:
    database = server.new_database()
    rng = random.Random(7)
    rows = [drawn(rng) for _ in range(300)]
    sent = BytesIO()

    class Kept:
        """Takes what would go to the server."""

        def write(self, data: bytes) -> None:
            sent.write(data)

        def finish(self, error: BaseException | None = None) -> None:
            pass

    with database.connection.cursor() as cursor:
        writer = Kept()
        with cursor.copy(
            "COPY span FROM STDIN (FORMAT BINARY)",
            writer=writer,  # type: ignore[arg-type]
        ) as copy:
            copy.set_types(tables.POSTGRES_TYPES["span"])
            for row in rows:
                copy.write_row([list(item) if type(item) is tuple else item for item in row])
    assert copied(tables.POSTGRES_TYPES["span"], rows) == sent.getvalue()
    database.close()


def test_a_minute_beyond_its_column_is_null() -> None:
    beyond = (1 << 40, -(1 << 31) - 1, *range(8))
    nulls = (None, None, *range(8))
    assert copied(("int4[]",), [(beyond,)]) == copied(("int4[]",), [(nulls,)])


def test_no_rows_are_a_head_and_an_end() -> None:
    assert copied(("int4", "text"), []) == b"PGCOPY\n\xff\r\n\0" + bytes(8) + b"\xff\xff"


@pytest.mark.parametrize("value", [1 << 31, -(1 << 31) - 1])
def test_a_number_beyond_its_column_is_said_to_be_that(value: int) -> None:
    with pytest.raises(OverflowError):
        copied(("int4",), [(value,)])
