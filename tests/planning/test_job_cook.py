"""The cook of a job: what it puts on the pit, and the job that knows its cook."""

from __future__ import annotations

from pitlogger.formats.cook_file import parse_cook
from pitlogger.formats.job_file import parse_job
from pitlogger.planning.job.calculation import answer_job
from pitlogger.planning.job.cook import cook_file, with_cook

JOB = """
# the fair
[job]
name = "fair"
serve_at = 2027-05-01T17:00:00-05:00
guests = 60
children = 6
place = "the barn"

[[meat]]
cut = "brisket-packer"
price = "4.29/lb"
share_pct = 60
supplier = "valley meats"
arrived = ["13 lb", "14 lb 2 oz"]

[[meat]]
cut = "pork-butt"
price = "2.19/lb"
share_pct = 40
"""


def test_the_cook_has_a_piece_for_each_that_is_bought() -> None:
    source = parse_job(JOB)
    answer = answer_job(source, now_ms=1_800_000_000_000)
    cook = parse_cook(cook_file(source, answer))
    packers, butts = (dish.pieces for dish in answer.dishes)
    assert (cook.name, cook.guests) == ("fair", 66)
    ids = [f"brisket-{n}" for n in range(1, packers + 1)] + [
        f"butt-{n}" for n in range(1, butts + 1)
    ]
    assert [piece.id for piece in cook.pieces] == ids
    masses = [piece.mass_mg for piece in cook.pieces if piece.mass_mg]
    assert [round(mass / 453_592.37, 2) for mass in masses] == [13.0, 14.12]
    assert cook.pieces[0].supplier == "valley meats"


def test_a_job_knows_its_cooks_once_each_and_keeps_its_comments() -> None:
    once = with_cook(JOB, "fair-20270501")
    assert parse_job(once).job.cook == "fair-20270501"
    assert "# the fair" in once
    assert with_cook(once, "fair-20270501") == once
    twice = parse_job(with_cook(once, "fair-2")).job
    assert (twice.cook, twice.cooks) == ("fair-20270501", ("fair-2",))
