"""What the API is asked to do: bodies of its POST requests, checked field by field.

Masses and temperatures are text with their unit, as a person writes them (``13 lb 7 oz``,
``203F``); moments are RFC 3339.
"""

from __future__ import annotations

from decimal import Decimal
from functools import cached_property
from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from pitlogger.formats import cook_file
from pitlogger.formats.capture import stage_of
from pitlogger.formats.one_line import one_line
from pitlogger.formats.written_mass import ALIASES
from pitlogger.model.cooks import Stage
from pitlogger.questions import Answers

Text = Annotated[str, Field(max_length=2000), AfterValidator(one_line)]
Initials = Annotated[str, Field(max_length=12), AfterValidator(one_line)]
Key = Annotated[str, Field(max_length=80)]
Name = Annotated[str, Field(min_length=1, max_length=80)]
TimeHours = Annotated[
    Literal[4, 6], BeforeValidator(lambda value: int(value) if value in ("4", "6") else value)
]
CheckpointId = Annotated[str, AfterValidator(lambda name: ALIASES.get(name, name))]
StageId = Annotated[Stage, BeforeValidator(lambda value: stage_of(str(value)))]


class Ask(BaseModel):
    """Common to all: who asks, a key that makes asking twice harmless, answers to questions."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    by: Initials = ""
    key: Key = ""
    confirm: Annotated[str, Field(max_length=2000)] = ""

    @cached_property
    def answers(self) -> Answers:
        """The answers given, which remember what each of them answered."""
        return Answers.of(self.confirm)


class OfCookAsk(Ask):
    """Something of a cook, a finished one too; of the running one if none is named."""

    cook: Name | None = None
    at: cook_file.Moment | None = None


class CookAsk(Ask):
    """Start a cook from the text of a cook file, now or when it began."""

    toml: Annotated[str, Field(max_length=60_000)]
    at: cook_file.Moment | None = None


class DisposedAsk(Ask):
    """What became of food whose limit was not met: why it was kept, what it was reheated to."""

    reason: Text = ""
    reading: cook_file.Temperature | None = None
    probe: Name | None = None


class FinishAsk(DisposedAsk):
    """Finish a cook; the one that is open if none is named."""

    cook: Name | None = None
    disposition: Literal["discarded", "reheated", "kept"] | None = None


class CorrectiveAsk(DisposedAsk):
    """What was done about a limit not met: the four parts and who.

    ``breach`` is a moment of the one breach it answers, asked where there are several; ``cook``
    is the newest one where none is named.
    """

    piece: str
    cook: Name | None = None
    cause: Annotated[str, Field(min_length=1, max_length=1000)]
    control_restored: Annotated[str, Field(min_length=1, max_length=1000)]
    prevention: Annotated[str, Field(min_length=1, max_length=1000)]
    disposition: str
    alert: str | None = None
    breach: cook_file.Moment | None = None


class PieceAsk(Ask):
    piece: cook_file.PieceTable
    cook: Name | None = None


class SplitAsk(Ask):
    piece: str = ""
    into: Annotated[tuple[cook_file.PieceTable, ...], Field(min_length=2, max_length=12)]


class MergeAsk(Ask):
    pieces: Annotated[tuple[str, ...], Field(min_length=2, max_length=50)]
    into: cook_file.PieceTable


class AssignAsk(Ask):
    """Say where a channel sits from now on, or since ``at``: what it read since is tagged anew.

    ``swap_with`` names the channel it changes places with, whatever place is given.
    """

    channel: cook_file.ChannelTable
    lead: bool = False
    at: cook_file.Moment | None = None
    swap_with: Name | None = None


class MovedAsk(Ask):
    """A probe was moved within its piece; its trend starts anew."""

    channel: str


class DoubtAsk(Ask):
    """Say whether what was doubted of a probe was right or wrong; of its last doubt by default.

    ``since`` is a moment of the doubt that is meant.
    """

    channel: str
    doubt: Literal["right", "wrong"]
    since: cook_file.Moment | None = None


class StageAsk(OfCookAsk):
    """Set the stage of a piece; of what is discarded also its mass and why."""

    piece: str
    stage: StageId
    mass: cook_file.Mass | None = None
    reason: Text = ""
    wrap: cook_file.WrapId | None = None


class WeighAsk(OfCookAsk):
    """Keep a mass: typed with its unit, or what is steady on a scale channel.

    A container of the list brings its own tare, unless one is given.
    """

    piece: str
    checkpoint: CheckpointId
    mass: cook_file.Mass | None = None
    channel: str | None = None
    tare: cook_file.Mass | None = None
    container: str | None = None


class ByTimeAsk(Ask):
    """Hold a piece by time instead of temperature, now or since when it was marked."""

    piece: str
    hours: TimeHours = 4
    at: cook_file.Moment | None = None


class TempAsk(OfCookAsk):
    """Enter a hand probe's reading of a piece or a site."""

    value: cook_file.Temperature
    piece: str | None = None
    site: cook_file.SiteId | None = None
    probe: str | None = None


class ReceiveAsk(OfCookAsk):
    """Write down how a piece came in, and whether it was accepted."""

    piece: str
    accepted: bool = True
    value: cook_file.Temperature | None = None
    condition: Annotated[str, Field(max_length=500), AfterValidator(one_line)] = ""
    supplier: Name | None = None
    lot: Name | None = None


class NoteAsk(OfCookAsk):
    text: Annotated[str, Field(min_length=1, max_length=2000), AfterValidator(one_line)]
    piece: str | None = None


class TargetAsk(Ask):
    piece: str
    wrap_at: cook_file.WrapAt | None = None
    pull_at: cook_file.CoreTarget | None = None


class TareAsk(Ask):
    """Take what is steady on a scale as container, or a mass typed in."""

    channel: str
    mass: cook_file.Mass | None = None
    container: str | None = None


class ContainerAsk(Ask):
    """Put a container on the list: its mass typed, or what lies steady on a scale, empty."""

    name: Annotated[str, Field(min_length=1, max_length=40)]
    mass: cook_file.Mass | None = None
    channel: str | None = None


class ContainerRemoveAsk(Ask):
    """Take a container off the list."""


class EntryAsk(Ask):
    """An entry by its short id, ``k7qm-42``; by run and number, or a number of one cook."""

    entry: Annotated[str, Field(max_length=80)] | None = None
    run: Annotated[str, Field(max_length=80)] | None = None
    seq: Annotated[int, Field(ge=0, le=1 << 40)] | None = None
    cook: Name | None = None


class UndoAsk(EntryAsk):
    """Take an entry back, of any cook; the last one of a person if none is named."""

    reason: Text = ""


class LearningAsk(EntryAsk):
    """Say whether an entry, a piece or a whole cook teaches the next plan."""

    teaches: bool
    piece: str | None = None
    reason: Annotated[str, Field(min_length=1, max_length=500)]


class WithdrawAsk(Ask):
    """Take a cook out of lists and learning; its record stays."""

    cook: Name
    reason: Annotated[str, Field(min_length=1, max_length=500)]


class CorrectAsk(EntryAsk):
    """Correct an entry's mass, temperature, stage, checkpoint, piece or time, of any cook.

    Of a cook's start also its name and guests, and with ``piece`` what is said of that piece.
    """

    mass: cook_file.Mass | None = None
    tare: cook_file.Mass | None = None
    checkpoint: CheckpointId | None = None
    piece: str | None = None
    value: cook_file.Temperature | None = None
    stage: StageId | None = None
    hours: TimeHours | None = None
    at: cook_file.Moment | None = None
    text: Text | None = None
    wrap: cook_file.WrapId | None = None
    wrap_at: cook_file.WrapAt | None = None
    pull_at: cook_file.CoreTarget | None = None
    cut: cook_file.CutId | None = None
    count: Annotated[int, Field(ge=1, le=1000)] | None = None
    supplier: Name | None = None
    grade: Name | None = None
    price_per_kg: Annotated[Decimal, Field(gt=0)] | None = None
    name: Name | None = None
    guests: Annotated[int, Field(ge=0, le=100_000)] | None = None
    reason: Text = ""

    @model_validator(mode="after")
    def _names_an_entry(self) -> CorrectAsk:
        if self.entry is None and self.seq is None:
            raise ValueError("name the entry, as 'pitlogger cook show' lists it")
        return self


class AlertAsk(Ask):
    alert: str = ""
    reason: Text = ""


class AnswerAsk(AlertAsk):
    """Answer a prompt; ``reason`` is one of its answers, such as ``not yet``."""

    reason: Annotated[str, Field(max_length=40)] = ""  # asked where it is empty


class ShelveAsk(AlertAsk):
    minutes: float = Field(gt=0, le=24 * 60)
    reason: Annotated[str, Field(min_length=1, max_length=500)]
