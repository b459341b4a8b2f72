"""The food log of a cook, as the API answers it."""

from __future__ import annotations

from pitlogger.safety.record import Sheet
from pitlogger.views.journal import KeptEntry
from pitlogger.views.view import Moment, View

EntryNumber = tuple[str, int]  # run and sequence


class CorrectiveView(View):
    """What was done about a limit not met: four parts, and who."""

    cause: str
    control_restored: str
    prevention: str
    disposition: str
    by: str
    at: Moment
    id: EntryNumber | None
    alert: str | None
    reason: str


class LogRowView(View):
    """One row of a sheet. ``met`` is null where it is not shown, or nothing is judged."""

    sheet: Sheet
    id: EntryNumber | None
    observed_at: Moment | None  # null: time not recorded
    entered_at: Moment
    by: str
    product: str
    piece: str | None
    what: str
    value: str
    limit: str
    met: bool | None
    instrument: str
    note: str
    corrective: CorrectiveView | None
    struck_by: EntryNumber | None


class LackingView(View):
    """What a row lacks, as fields of the record."""

    sheet: Sheet
    product: str
    what: str
    missing: tuple[str, ...]


class LoggedEntry(KeptEntry):
    """A check or a corrective action."""

    at: Moment


class SignOffView(View):
    by: str
    name: str
    at: Moment
    entries: int
    head: str


class SinceSignedView(View):
    """What a person entered after the last signature; ``words`` say what stood before, too."""

    id: str
    at: Moment
    by: str
    words: str


class FoodLogView(View):
    """Its sheets, what they lack, who signed, and whether the chain of its entries holds."""

    cook: str
    sheets: dict[Sheet, str]
    rows: tuple[LogRowView, ...]
    missing: tuple[LackingView, ...]
    corrective: tuple[LoggedEntry, ...]
    checks: tuple[LoggedEntry, ...]
    entries: int
    head: str
    signed: tuple[SignOffView, ...]
    since_signed: tuple[SinceSignedView, ...]
    faults: tuple[str, ...]
