"""Random jobs come to what another hand reckons; papers say the same; wild numbers are named.

``PITLOGGER_JOBS=5000`` runs that many.
"""

from __future__ import annotations

import os
import random
import subprocess
import sys
from dataclasses import asdict
from decimal import Decimal
from pathlib import Path

import pytest

from pitlogger.errors import FieldError, UsageError
from pitlogger.formats.job_file import parse_job
from pitlogger.node.register import add, read_register
from pitlogger.planning.job.calculation import answer_job
from pitlogger.planning.job.papers import Paper, issue
from pitlogger.reports.papers import paper_sheet
from pitlogger.reports.sheet import Table
from tests.planning.independent.drawn_jobs import as_text, drawn
from tests.planning.independent.judged_jobs import judge

JOBS = int(os.environ.get("PITLOGGER_JOBS", "40"))
ONCE_WRONG = 2148  # one guest too many to break even
HEAD = 'name = "w"\nguests = 10\nportion = "5 oz"\nprice_per_guest = 24\ntax_pct = 8.25\n'
MEAT = '[[meat]]\ncut = "pork-butt"\nprice = "2/lb"\n'
PAID = "[[payment]]\non = 2027-01-01\namount = 200\n"


def test_random_jobs_come_to_what_another_hand_reckons() -> None:
    for seed in (*range(1, 1 + JOBS), ONCE_WRONG):
        job = drawn(seed)
        assert judge(job, answer_job(parse_job(as_text(job))).document()) == [], seed


def issued(kind: str, before: list[Paper], head: str = "", tail: str = "") -> list[Paper]:
    source = parse_job(f"[job]\n{HEAD}{head}\n{MEAT}{tail}")
    return [*before, *issue(kind, source, answer_job(source), before, "2026-11-29")]  # type: ignore[arg-type]


def rows(paper: Paper) -> dict[str, str]:
    (table,) = (one for one in paper_sheet(asdict(paper)).blocks
                if isinstance(one, Table) and one.rows)  # fmt: skip
    return {str(what): str(amount) for what, amount in table.rows}


def test_papers_of_a_job_that_is_edited_at_random_still_add_up() -> None:
    """What was issued stays as it was, numbers have no gap, invoices less credit notes are owed."""
    refused = set()
    for seed in range(8):
        rng = random.Random(seed)
        heads, paid, papers = [""], list[str](), list[Paper]()
        for _ in range(12):
            edit = rng.choice(("discount_pct = {}", "service_pct = {}", "deposit_pct = {}", ""))
            heads = [edit.format(rng.randint(0, 30))] if rng.random() < 0.5 else heads
            if rng.random() < 0.4:
                day = rng.randint(1, 28)
                amount = rng.randint(-50, 90)
                paid.append(f"[[payment]]\non = 2027-01-{day:02d}\namount = {amount}\n")
            rng.shuffle(paid)
            head = "cancelled = true" if rng.random() < 0.2 else heads[0]
            tail = "".join(paid)
            kind, before = rng.choice(("quote", "invoice", "receipt")), list(papers)
            try:
                papers = issued(kind, papers, head, tail)
            except FieldError as fault:
                refused.add(fault.field)
                continue
            assert papers[: len(before)] == before
            again = issued(kind, papers, head, tail) if "cancelled" not in head else papers
            assert again == papers, "the same twice"
            if kind == "receipt":
                sums = [Decimal(p.content["payment"]["amount"]) for p in papers if p.kind == kind]
                assert sum(sums) == sum(Decimal(one.split("amount = ")[1]) for one in paid)
            if kind == "invoice":
                total = {p.number: Decimal(p.content["bill"]["total"]) for p in papers}
                owed = sum((-1 if p.kind == "credit-note" else 1) * total[p.number]
                           for p in papers if p.kind in ("invoice", "credit-note"))  # fmt: skip
                assert owed == (0 if "cancelled" in head else total[papers[-1].number])
        for kind in ("quote", "invoice", "credit-note", "receipt"):
            made = list(dict.fromkeys(p.number for p in papers if p.kind == kind))
            assert [int(number[2:]) for number in made] == [*range(1, 1 + len(made))]
    assert refused == {"payment", "job.cancelled"}


def test_a_credit_note_takes_back_each_sum_of_its_invoice() -> None:
    first = issued("invoice", [], "discount_pct = 5")
    invoice, credit, _ = issued("invoice", first, "discount_pct = 5\ngratuity_pct = 10")
    asked, back = rows(invoice), rows(credit)
    assert Decimal(back["Discount"]) == Decimal(12)
    assert Decimal(back["Total"]) == -Decimal(asked["Total"])


def test_a_change_order_says_what_was_paid_and_is_still_due() -> None:
    quote = issued("quote", [], "deposit_pct = 30")
    (*_, changed) = issued("quote", quote, "deposit_pct = 30\nservice_pct = 5", PAID)
    told = rows(changed)
    assert "Deposit 30 %, due on booking" not in told
    assert Decimal(told["Paid"]) == -200
    assert Decimal(told["Balance due"]) == Decimal(told["Total"]) - 200


@pytest.mark.parametrize(
    ("field", "head", "tail"),
    [
        ("job.discount", "discount = 1e308", ""),
        ("job.minimum_order", "minimum_order = 1e25", ""),
        ("payment.0.amount", "", "[[payment]]\non = 2027-01-01\namount = -1e30\n"),
        ("charge.0.count", "", '[[charge]]\nwhat = "x"\nprice = 1\ncount = 1e308\n'),
        ("labour.0.rate", "", '[[labour]]\nrole = "pit"\nhours = 1\nrate = 1e308\n'),
        ("shortage.refund", "", "[shortage]\nrefund = 1e308\n"),
        ("actual.meat_cost", "", "[actual]\nguests = 3\nmeat_cost = 1e300\n"),
        ("by_weight.0.price", "", '[[by_weight]]\nwhat = "x"\nmass = "1 kg"\nprice = "1e30/kg"\n'),
        ("credit.0.mass", "", f'[[credit]]\nwhat = "x"\nmass = "{"9" * 30} kg"\nprice = "1/kg"\n'),
        ("meat.0.at_least", "", f'at_least = "{"9" * 20} lb"\n'),
        ("sitting.0.drive_min", "", '[[sitting]]\nat = 2027-06-19T17:00:00Z\ndrive_min = inf\n'),
        ("pits.big", "", "[pits]\nbig = inf\n"),
    ],
)  # fmt: skip
def test_a_number_beyond_all_sums_is_named(field: str, head: str, tail: str) -> None:
    with pytest.raises(UsageError) as refused:
        parse_job(f"[job]\n{HEAD}{head}\n{MEAT}{tail}")
    assert f" {field} = " in str(refused.value)
    assert "\n" not in str(refused.value)


FULL = """
import resource, signal, sys
from pathlib import Path
from pitlogger.node.register import add
from tests.planning.test_random_jobs import issued
from pitlogger.errors import RefusedError
path, room = Path(sys.argv[1]), int(sys.argv[2])
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (path.stat().st_size + room,) * 2)
try:
    add(path, lambda before: issued("invoice", list(before))[len(before):])
except RefusedError as refused:
    print(refused)
"""


@pytest.mark.parametrize("room", [0, 100])
def test_a_full_disk_leaves_no_torn_line_and_no_gap(tmp_path: Path, room: int) -> None:
    register = tmp_path / "papers.jsonl"
    add(register, lambda before: issued("quote", list(before)))
    whole = register.read_bytes()
    command = [sys.executable, "-c", FULL, str(register), str(room)]
    root = Path(__file__).parents[2]
    told = subprocess.run(command, check=True, capture_output=True, text=True, cwd=root)
    assert "nothing issued" in told.stdout
    assert register.read_bytes() == whole
    add(register, lambda before: issued("invoice", list(before))[len(before) :])
    assert [paper.number for paper in read_register(register)] == ["Q-0001", "I-0001"]
