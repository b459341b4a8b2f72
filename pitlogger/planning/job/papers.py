"""Papers that a client was given: numbered without gaps, and never changed once issued.

A quote that changes is a new version under its number; once money was paid on it that version is a
change order. An invoice that changes is taken back whole by a credit note, and a new one is issued.
A receipt is of one payment.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Literal

from pitlogger.errors import FieldError, RefusedError
from pitlogger.formats.job_file import JobFile
from pitlogger.planning.job.answer import JobAnswer
from pitlogger.questions import Answers

PaperKind = Literal["quote", "invoice", "credit-note", "receipt"]
NOT_NOW = "not now"
_LETTER: dict[PaperKind, str] = {"quote": "Q", "invoice": "I", "credit-note": "C", "receipt": "R"}


@dataclass(frozen=True, slots=True)
class Paper:
    """One issued paper; ``content`` is all that stands on it, as plain values.

    Attributes:
        number: Such as ``Q-0007``; versions of one quote share it.
        version: From 1.
        about: Number of the paper it takes back or confirms, else empty.
    """

    kind: PaperKind
    number: str
    version: int
    job: str
    on: str
    about: str
    content: dict[str, Any]

    @property
    def line(self) -> str:
        """Number, what it is, and the sum on it."""
        version = f" version {self.version}" if self.version > 1 else ""
        about = f", about {self.about}" if self.about and self.about != self.number else ""
        if self.kind == "receipt":
            told = f"of {self.content['payment']['amount']}"
        else:
            told = f"total {self.content['bill']['total']}"
        money = f"{told} {self.content['currency']}".rstrip()
        is_change = self.kind == "quote" and self.version > 1 and self.content.get("paid_before")
        kind = "change order" if is_change else self.kind
        return f"{self.number}{version} ({kind}, {self.job}): {money}{about}"

    def shown(self) -> dict[str, Any]:
        """Return it as a list of papers gives it."""
        sums = self.content["bill"]
        return {
            "kind": self.kind, "number": self.number, "version": self.version, "job": self.job,
            "on": self.on, "about": self.about, "currency": self.content["currency"],
            "total": sums["total"], "balance": sums["balance"],
        }  # fmt: skip


def ask_who_came(kind: PaperKind, source: JobFile, answer: JobAnswer, answers: Answers) -> None:
    """Ask about an invoice that is made out before anybody entered who came.

    Raises:
        QuestionError: It is one, and nobody said yet that it is right.
    """
    if kind == "invoice" and source.actual is None and not source.job.cancelled:
        guests = answer.bill.guests
        answers.choose(
            f"Nobody entered how many came, so {guests} guests are billed. Is it right?",
            [f"bill {guests} guests"],
        )


def asked_first(made: Sequence[Paper], answers: Answers) -> tuple[Paper, ...]:
    """Return the papers to issue, once a person said so; the answer names what was shown.

    Raises:
        QuestionError: Nobody did, or what would be issued is no longer what was shown.
        RefusedError: The answer was no.
    """
    if not made:
        return ()
    shown = ", ".join(paper.line for paper in made).replace(";", ",")
    what = f"issue {shown}"
    question = f"Issue {shown}? What is issued never changes"
    if answers.choose(question, (what, NOT_NOW)) != what:
        raise RefusedError("not issued, as answered; nothing was written")
    return tuple(made)


def issue(
    kind: PaperKind, source: JobFile, answer: JobAnswer, issued: Sequence[Paper], on: str
) -> tuple[Paper, ...]:
    """Return the papers to issue now; none where the last one says the same.

    Args:
        kind: ``quote``, ``invoice`` or ``receipt``.
        source: The job.
        answer: What it came to.
        issued: All papers issued so far, of every job, oldest first.
        on: Today's date, ISO 8601.

    Raises:
        FieldError: The job has no name, was cancelled, or has no payment to confirm.
    """
    name = source.job.name
    if not name:
        raise FieldError("job.name", "a paper belongs to a job with a name; name it")
    used_so_far = (paper.content.get("currency", "") for paper in issued)
    currencies = {*used_so_far, answer.currency} - {""}
    if not source.job.currency and len(currencies) > 1:
        used = " and ".join(sorted(currencies))
        raise FieldError("job.currency", f"missing, while {used} are in use; name one")
    own = [paper for paper in issued if paper.job == name]
    if kind == "receipt":
        return _receipts(source, answer, own, issued, on)
    content = _content(source, answer)
    last = next((paper for paper in reversed(own) if paper.kind == kind), None)
    taken_back = last is not None and any(
        paper.kind == "credit-note" and paper.about == last.number for paper in own
    )
    if kind == "invoice":
        return _invoice(source, content, last, taken_back, issued, on)
    if source.job.cancelled:
        raise FieldError("job.cancelled", "the job was cancelled: nothing is quoted any more")
    if last is not None and last.content == content:
        return ()
    if last is None:
        return (Paper("quote", _number("quote", issued), 1, name, on, "", content),)
    return (Paper("quote", last.number, last.version + 1, name, on, last.number, content),)


def _invoice(
    source: JobFile,
    content: dict[str, Any],
    last: Paper | None,
    taken_back: bool,
    issued: Sequence[Paper],
    on: str,
) -> tuple[Paper, ...]:
    name = source.job.name
    papers: list[Paper] = []
    if last is not None and not taken_back:
        if _owed(last.content) == _owed(content) and not source.job.cancelled:
            return ()
        number = _number("credit-note", issued)
        papers.append(Paper("credit-note", number, 1, name, on, last.number, last.content))
    if source.job.cancelled:
        if not papers:
            raise FieldError("job.cancelled", "the job was cancelled and no invoice stands")
        return tuple(papers)
    papers.append(Paper("invoice", _number("invoice", issued), 1, name, on, "", content))
    return tuple(papers)


def _owed(content: dict[str, Any]) -> dict[str, Any]:
    """Return what an invoice asks for: what was paid on it since has receipts."""
    bill = {key: value for key, value in content["bill"].items() if key not in ("paid", "balance")}
    return {**content, "bill": bill, "paid_before": None}


def _receipts(
    source: JobFile, answer: JobAnswer, own: Sequence[Paper], issued: Sequence[Paper], on: str
) -> tuple[Paper, ...]:
    """Return a receipt for each payment that has none yet.

    Raises:
        FieldError: No payment, or one that has its receipt was changed or taken out since.
    """
    if not source.payment:
        raise FieldError("payment", "no payment in the job file to confirm")
    confirmed = [(_money_in(p.content["payment"]), p.number) for p in own if p.kind == "receipt"]
    content = _content(source, answer)
    made: list[Paper] = []
    for payment in source.payment:
        on_paper = {"on": payment.on.isoformat(), "amount": str(payment.amount),
                    "method": payment.method}  # fmt: skip
        known = next((one for one in confirmed if one[0] == _money_in(on_paper)), None)
        if known is not None:
            confirmed.remove(known)
            continue
        number = _number("receipt", [*issued, *made])
        paper = {**content, "payment": on_paper}
        made.append(Paper("receipt", number, 1, source.job.name, on, "", paper))
    if confirmed:
        (day, amount, method), number = confirmed[0]
        reason = (
            f"{number} confirms {amount:f} of {day}{f' by {method}' if method else ''}, and no such"
            " payment is in the job file any more: put it back, and enter a payment below zero for"
            " what was wrong or given back"
        )
        raise FieldError("payment", reason)
    return tuple(made)


def _money_in(payment: dict[str, Any]) -> tuple[str, Decimal, str]:
    """Return day, amount and method of a payment: 400 and 400.00 are one."""
    return payment["on"], Decimal(payment["amount"]), payment["method"]


def _number(kind: PaperKind, issued: Sequence[Paper]) -> str:
    """Return the next number of a kind: one more than there are, so that none is left out."""
    used = {paper.number for paper in issued if paper.kind == kind}
    return f"{_LETTER[kind]}-{len(used) + 1:04d}"


def _content(source: JobFile, answer: JobAnswer) -> dict[str, Any]:
    """Return what stands on a paper: nothing of how it was reckoned."""
    job = source.job
    shown = answer.document()["bill"]
    return {
        "job": job.name,
        "client": job.client,
        "place": job.place,
        "currency": answer.currency,
        "guests": job.guests,
        "children": job.children,
        "sittings": _sittings(source),
        "menu": [dish.name for dish in answer.dishes],
        "bill": {key: _plain(value) for key, value in shown.items()},
        "valid_until": None if job.valid_until is None else job.valid_until.isoformat(),
        "guarantee": job.guarantee,
        "guarantee_by": None if job.guarantee_by is None else job.guarantee_by.isoformat(),
        "tax_pct": str(job.tax_pct),
        "tax_exemption": job.tax_exemption,
        "service_pct": str(job.service_pct),
        "gratuity_pct": str(job.gratuity_pct),
        "deposit_pct": str(job.deposit_pct),
        "terms": list(job.terms),
        "paid_before": bool(source.payment),
        # Only where they are said: papers of a register without them compare as before.
        **({} if job.balance_by is None else {"balance_by": job.balance_by.isoformat()}),
        **({"allergens": list(job.allergens)} if job.allergens else {}),
    }  # fmt: skip


def _sittings(source: JobFile) -> list[dict[str, str]]:
    if source.sitting:
        return [{"at": one.at.isoformat(), "place": one.place} for one in source.sitting]
    if source.job.serve_at is None:
        return []
    return [{"at": source.job.serve_at.isoformat(), "place": source.job.place}]


def _plain(value: Any) -> Any:
    if isinstance(value, Decimal):
        return str(value)
    if isinstance(value, list):
        return [_plain(one) for one in value]
    if isinstance(value, dict):
        return {key: _plain(one) for key, one in value.items()}
    return value
