"""Issued papers: numbers without gaps, nothing changed afterwards, nothing internal on them."""

from __future__ import annotations

import json
import re
import threading
from dataclasses import asdict
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from pitlogger.cli import main, root
from pitlogger.cli.records import past
from pitlogger.errors import FieldError, RefusedError
from pitlogger.formats.job_file import parse_job
from pitlogger.model.cooks import together
from pitlogger.node.register import add, read_register
from pitlogger.planning.job.calculation import answer_job
from pitlogger.planning.job.papers import Paper, issue
from pitlogger.questions import QuestionError
from pitlogger.reports.html import html as sheet_html
from pitlogger.reports.job_sheets import packing_list, run_sheet, shopping_by_supplier
from pitlogger.reports.papers import paper_sheet
from pitlogger.views import words
from tests.planning.test_job import JOB

PAID = '[[payment]]\non = 2027-05-02\namount = 400\nmethod = "transfer"\n'


def issued(kind: Any, text: str, before: list[Paper]) -> list[Paper]:
    source = parse_job(text)
    return list(issue(kind, source, answer_job(source), before, "2027-05-01"))


def test_a_quote_is_issued_once_and_changes_by_versions() -> None:
    papers = issued("quote", JOB, [])
    assert [(p.number, p.version) for p in papers] == [("Q-0001", 1)]
    assert issued("quote", JOB, papers) == []
    papers += issued("quote", JOB.replace("guests = 120", "guests = 130"), papers)
    assert [(p.number, p.version) for p in papers] == [("Q-0001", 1), ("Q-0001", 2)]
    assert papers[0].content["guests"] == 120
    papers += issued("quote", JOB.replace("orchard wedding", "other job"), papers)
    assert papers[-1].number == "Q-0002"


def test_a_change_after_money_was_paid_is_a_change_order() -> None:
    papers = issued("quote", JOB, [])
    papers += issued("quote", JOB.replace("guests = 120", "guests = 130") + PAID, papers)
    assert paper_sheet(asdict(papers[-1])).title == "Change order Q-0001, version 2"
    assert papers[-1].line.startswith("Q-0001 version 2 (change order, orchard wedding): ")


def test_an_invoice_is_taken_back_by_a_credit_note() -> None:
    papers = issued("invoice", JOB, [])
    more = issued("invoice", JOB.replace("price_per_guest = 24", "price_per_guest = 25"), papers)
    assert [(p.kind, p.number, p.about) for p in more] == [
        ("credit-note", "C-0001", "I-0001"), ("invoice", "I-0002", ""),
    ]  # fmt: skip
    assert more[0].content == papers[0].content
    papers += more
    cancelled = JOB.replace("[job]", "[job]\ncancelled = true")
    (credit,) = issued("invoice", cancelled, papers)
    assert (credit.kind, credit.about) == ("credit-note", "I-0002")
    with pytest.raises(FieldError, match="cancelled"):
        issued("quote", cancelled, papers)


def test_each_payment_has_one_receipt() -> None:
    twice = JOB + PAID + PAID
    papers = issued("receipt", JOB + PAID, [])
    papers += issued("receipt", twice, papers)
    assert [paper.number for paper in papers] == ["R-0001", "R-0002"]
    assert issued("receipt", twice, papers) == []
    with pytest.raises(FieldError, match="no payment"):
        issued("receipt", JOB, [])


def test_a_payment_written_otherwise_has_no_second_receipt_and_a_changed_one_is_refused() -> None:
    papers = issued("receipt", JOB + PAID, [])
    assert issued("receipt", JOB + PAID.replace("400", "400.00"), papers) == []
    with pytest.raises(FieldError, match=r"R-0001 confirms 400 of 2027-05-02 by tr.*below zero"):
        issued("receipt", JOB + PAID.replace("400", "450"), papers)


def test_numbers_have_no_gap_when_many_issue_at_once(tmp_path: Path) -> None:
    path = tmp_path / "papers.jsonl"
    source = parse_job(JOB)
    answer = answer_job(source)

    def work(k: int) -> None:
        job = source.job.model_copy(update={"name": f"job {k}"})
        own = source.model_copy(update={"job": job})
        add(path, lambda before: issue("invoice", own, answer, before, "2027-05-01"))

    threads = [threading.Thread(target=work, args=(k,)) for k in range(12)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [p.number for p in read_register(path)] == [f"I-{k:04d}" for k in range(1, 13)]


def test_nothing_is_issued_on_a_register_in_doubt(tmp_path: Path) -> None:
    path = tmp_path / "papers.jsonl"
    path.write_text('{"kind": "quote"\n', encoding="utf-8")
    with pytest.raises(RefusedError, match=r"papers.jsonl:1"):
        add(path, lambda before: [])
    assert path.read_text("utf-8") == '{"kind": "quote"\n'


def test_an_issue_is_asked_first_and_written_when_confirmed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file, register = tmp_path / "job.toml", tmp_path / "papers.jsonl"
    file.write_text(JOB, encoding="utf-8")

    def run(*args: str, code: int = 0) -> Any:
        with pytest.raises(SystemExit) as ended:
            main(["job", *args])
        said = capsys.readouterr().out
        assert ended.value.code == code, said
        return json.loads(said) if said.startswith("{") else said

    asked = run("issue", "quote", str(file), code=1)
    assert set(asked) == {"question", "options", "confirm"}
    total = str(answer_job(parse_job(JOB)).bill.total)
    assert f"Q-0001 (quote, orchard wedding): total {total}" in asked["question"]
    assert not register.exists()
    run("issue", "quote", str(file), "--confirm", "not now", code=1)
    assert not register.exists()
    (paper,) = run("issue", "quote", str(file), "--confirm", asked["confirm"], "--json")["papers"]
    assert paper["total"] == total
    assert "Nothing to issue" in run("issue", "quote", str(file))
    assert "Q-0001" in run("papers", str(register))
    out = tmp_path / "quote.html"
    run("paper", str(register), "Q-0001", "--firm", "Own Kitchen", "--out", str(out))
    assert "Own Kitchen" in out.read_text("utf-8")


def test_a_confirmation_holds_for_what_was_shown_alone(tmp_path: Path) -> None:
    file, register = tmp_path / "job.toml", tmp_path / "papers.jsonl"
    file.write_text(JOB, encoding="utf-8")
    issue_it = ["job", "issue", "quote", str(file)]
    asked = CliRunner().invoke(root, issue_it).exception
    assert isinstance(asked, QuestionError)
    file.write_text(JOB.replace("guests = 120", "guests = 130"), encoding="utf-8")
    again = CliRunner().invoke(root, [*issue_it, "--confirm", asked.asked.confirm]).exception
    assert isinstance(again, QuestionError)
    assert again.asked.question != asked.asked.question
    assert not register.exists()


def test_a_clients_paper_has_the_sums_of_the_job_and_nothing_internal() -> None:
    more = '[job]\ngratuity_pct = 10\nguarantee_by = 2027-06-10\nterms = ["Ours."]'
    text = JOB.replace("[job]", more)
    answer = answer_job(parse_job(text + PAID))
    for kind in ("quote", "invoice", "receipt"):
        for paper in issued(kind, text + PAID, []):
            page = sheet_html(paper_sheet(asdict(paper)))
            assert f"{answer.bill.total:,}" in page
            words = re.sub(r"<style.*?</style>|<[^>]+>", " ", page, flags=re.DOTALL).casefold()
            for word in ("prior", "probab", "probe", "risk", "yield", "margin", "profit", "cost"):
                assert not re.search(rf"\b{word}", words), (kind, word)
    assert f"{answer.bill.balance:,}" in page


def test_kitchen_sheets_have_the_numbers_of_the_job() -> None:
    document = answer_job(parse_job(JOB)).document()
    (dish,) = document["dishes"]
    bought = sheet_html(shopping_by_supplier(document, "kg"))
    assert "North" in bought
    assert words.cut(dish["cut"]) in bought, "the butcher sells a cut, not a dish"
    assert f"{dish['billed_g'] / 1000:.3f}".rstrip("0") in bought.replace(",", "")
    run = sheet_html(run_sheet(document))
    assert run.count("<tr") > 8
    assert "light the fire" in run
    assert f"{dish['pieces']} pieces" in sheet_html(packing_list(document))


def test_a_quote_says_what_is_left_to_pay_and_by_when() -> None:
    (paper,) = issued("quote", JOB, [])
    page = sheet_html(paper_sheet(asdict(paper)))
    bill = answer_job(parse_job(JOB)).bill
    assert "Balance due by 2027-06-19" in page
    assert f"{bill.total - bill.deposit:,}" in page
    part = issued("quote", JOB + "[[payment]]\non = 2027-05-02\namount = 90\n", [])[0]
    paid = sheet_html(paper_sheet(asdict(part)))
    assert bill.deposit > 90
    assert f"{bill.deposit:,}" in paid, "what was paid does not reach the deposit"
    assert f"{bill.total - 90:,}" in paid
    (later,) = issued("quote", JOB.replace("[job]", "[job]\nbalance_by = 2027-06-30"), [])
    assert "due by 2027-06-30" in sheet_html(paper_sheet(asdict(later)))


def test_a_paper_issued_before_there_was_a_day_for_the_balance_still_prints() -> None:
    (paper,) = issued("quote", JOB, [])
    old = {key: value for key, value in paper.content.items() if key != "balance_by"}
    assert "Balance" in sheet_html(paper_sheet({**asdict(paper), "content": old}))


def test_a_job_without_a_currency_is_refused_where_the_kitchens_is_another() -> None:
    papers = issued("quote", JOB.replace('"USD"', '"EUR"'), [])
    source = parse_job(JOB.replace('currency = "USD"\n', ""))
    answer = answer_job(source, currency="USD")
    with pytest.raises(FieldError, match=r"job.currency.*EUR and USD are in use"):
        issue("quote", source, answer, papers, "2027-05-01")
    assert issue("quote", source, answer_job(source, currency="EUR"), papers, "2027-05-01") == ()


def test_the_command_line_reckons_in_the_kitchens_currency(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(past, "currency", lambda: "SEK")
    monkeypatch.setattr(past, "books", list)
    file = tmp_path / "job.toml"
    file.write_text(JOB.replace('currency = "USD"\n', ""), encoding="utf-8")
    done = CliRunner().invoke(root, ["job", "show", str(file), "--json"])
    document = json.loads(done.output)
    assert document["currency"] == "SEK"
    assert {"field": "job.currency", "value": "SEK", "why": "the kitchen's own"} in [
        {key: one[key] for key in ("field", "value", "why")} for one in document["assumed"]
    ]


def test_pieces_of_a_dish_are_told_together_by_its_name() -> None:
    assert together(["p-1", "p-2", "p-3", "q", "q-4", "q-5"]) == "p-1 to p-3, q, q-4, q-5"
    text = JOB.replace('cut = "brisket-packer"', 'cut = "brisket-packer"\nname = "smoked brisket"')
    document = answer_job(parse_job(text + "[pits]\npit = 9\n")).document()
    sheet = sheet_html(run_sheet(document))
    assert "smoked brisket-1 to smoked brisket-" in sheet


def test_a_payment_takes_no_invoice_back() -> None:
    papers = issued("invoice", JOB, [])
    assert issued("invoice", JOB + PAID, papers) == []
