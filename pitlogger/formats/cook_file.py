"""Cook files: what is to be cooked, for whom, and where each channel sits (TOML)."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime
from decimal import Decimal
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, ConfigDict, Field, model_validator

from pitlogger.clock import ms_of
from pitlogger.errors import CookFileError, unknown
from pitlogger.formats.file_table import FileTable
from pitlogger.formats.toml import parse_toml, read_toml
from pitlogger.model import cooks
from pitlogger.model.quantities import (
    MG_PER,
    parse_duration_ms,
    parse_length_mm,
    parse_mass_mg,
    parse_temperature_mc,
    parse_temperature_step_mc,
)
from pitlogger.model.readings import Site

CORE_MOST_MC = 110_000  # over the boiling point of brine; ours


def _text(value: Any, example: str) -> str:
    if not isinstance(value, str):
        raise ValueError(f'expected text with its unit in quotes, such as "{example}"')
    return value


_FIRST_YEAR, _LAST_YEAR = 1970, 9998


def _moment_ms(value: Any) -> int:
    """Return UTC milliseconds of an RFC 3339 text or a TOML date-time with its offset."""
    moment = value
    if isinstance(value, str):
        try:
            moment = datetime.fromisoformat(value)
        except ValueError:
            raise ValueError("expected a date and time such as 2026-09-19T18:00:00-05:00") from None
    if not isinstance(moment, datetime):
        raise ValueError("expected a date and time such as 2026-09-19T18:00:00-05:00")
    if moment.tzinfo is None:
        raise ValueError("the time has no offset from UTC: add one, such as -05:00 or Z")
    if not _FIRST_YEAR <= moment.year <= _LAST_YEAR:
        raise ValueError(f"the year {moment.year} is not in our era: expected {_FIRST_YEAR} to"
                         f" {_LAST_YEAR}")  # fmt: skip
    return ms_of(moment)


def _wrap_at(value: Any) -> int:
    text = _text(value, "165F")
    return cooks.NEVER if text.strip().casefold() == "never" else core_target(text)


def core_target(value: Any) -> int:
    """Return the core temperature to wrap or take off at; meat gets no hotter than its water."""
    text = _text(value, "203F")
    core_mc = parse_temperature_mc(text)
    if not 0 <= core_mc <= CORE_MOST_MC:
        raise ValueError(f"'{text}': the core of meat lies between 32 F and 230 F (0 C and 110 C)")
    return core_mc


def one_of(what: str, known: Collection[str]) -> BeforeValidator:
    """Return the check that a value is one of the words known."""

    def check(value: Any) -> str:
        if not isinstance(value, str) or value not in known:
            raise ValueError(unknown(what, str(value)[:40], known))
        return value

    return BeforeValidator(check)


def _site(value: Any) -> Site:
    try:
        return Site(value)
    except ValueError:
        raise ValueError(unknown("site", str(value), Site)) from None


def _every_ms(value: Any) -> int:
    if value == "off":
        return 0
    every_ms = parse_duration_ms(_text(value, "45 min"))
    if every_ms < LEAST_EVERY_MS:
        raise ValueError(f"a timer runs every minute at the most, not every '{value}'")
    return every_ms


Moment = Annotated[int, BeforeValidator(_moment_ms)]
Temperature = Annotated[int, BeforeValidator(lambda v: parse_temperature_mc(_text(v, "238F")))]
Mass = Annotated[int, BeforeValidator(lambda v: parse_mass_mg(_text(v, "6.4 kg")))]
Length = Annotated[float, BeforeValidator(lambda v: parse_length_mm(_text(v, "7 cm")))]
Duration = Annotated[int, BeforeValidator(lambda v: parse_duration_ms(_text(v, "45 s")))]
Every = Annotated[int, BeforeValidator(_every_ms)]
TemperatureStep = Annotated[
    int, BeforeValidator(lambda v: parse_temperature_step_mc(_text(v, "-1.5F")))
]
CoreTarget = Annotated[int, BeforeValidator(core_target)]
WrapAt = Annotated[int, BeforeValidator(_wrap_at)]
CutId = Annotated[str, one_of("cut", cooks.CUTS)]
SiteId = Annotated[Site, BeforeValidator(_site)]
WrapId = Annotated[cooks.Wrap, one_of("wrap", cooks.WRAPS)]
Id = Annotated[str, Field(min_length=1, max_length=80, pattern=r"^[^\s,\x00-\x1f\x7f-\x9f]+$")]

LEAST_EVERY_MS = 60_000


class ServiceTable(FileTable):
    at: Moment
    place: str = ""
    guests: int | None = Field(None, ge=1)
    drive_min: float = Field(0, ge=0)
    setup_min: float = Field(0, ge=0)


class PieceTable(FileTable):
    id: Id
    cut: CutId = "other"
    count: int = Field(1, ge=1)
    price_per_kg: Decimal | None = Field(None, ge=0)
    price_per_lb: Decimal | None = Field(None, ge=0)
    mass: Mass | None = None
    thickness: Length | None = None
    wrap: WrapId | None = None
    wrap_at: WrapAt | None = None
    wrap_on: tuple[Literal["stall", "colour", "time"], ...] = ()
    pull_at: CoreTarget | None = None
    prepared: cooks.Prepared = "intact"
    pit: str | None = None
    supplier: str | None = None
    grade: str | None = None
    lot: str | None = None
    service: str | None = None

    @model_validator(mode="after")
    def _targets_agree(self) -> PieceTable:
        if self.price_per_kg is not None and self.price_per_lb is not None:
            raise ValueError("give price_per_kg or price_per_lb, not both")
        if self.pull_at is not None and self.wrap_at is not None and self.pull_at < self.wrap_at:
            raise ValueError(
                f"pull_at ({self.pull_at / 1000:.1f} C) lies below wrap_at "
                f"({self.wrap_at / 1000:.1f} C): a piece is wrapped before it comes off the pit"
            )
        return self

    def piece(self) -> cooks.Piece:
        per_kg = self.price_per_kg
        if self.price_per_lb is not None:
            per_kg = self.price_per_lb * MG_PER["kg"] / MG_PER["lb"]
        return cooks.Piece(
            id=self.id, cut=self.cut, count=self.count, mass_mg=self.mass,
            thickness_mm=self.thickness, wrap=self.wrap, wrap_at_mc=self.wrap_at,
            wrap_on=self.wrap_on, pull_at_mc=self.pull_at, prepared=self.prepared, pit=self.pit,
            price_per_kg=per_kg, supplier=self.supplier, grade=self.grade, lot=self.lot,
            service=self.service,
        )  # fmt: skip


class ChannelTable(FileTable):
    id: Id
    site: SiteId
    piece: str | None = None
    set_point: Temperature | None = None
    low: Temperature | None = None
    high: Temperature | None = None
    offset: TemperatureStep = 0
    stale_after: Duration | None = None

    @model_validator(mode="after")
    def _band_is_open(self) -> ChannelTable:
        if self.low is not None and self.high is not None and self.low >= self.high:
            raise ValueError("low must lie below high")
        return self

    def channel(self) -> cooks.Channel:
        return cooks.Channel(
            id=self.id, site=self.site, piece=self.piece, set_point_mc=self.set_point,
            low_mc=self.low, high_mc=self.high, offset=self.offset, stale_after_ms=self.stale_after,
        )  # fmt: skip


class CookTable(FileTable):
    name: str = "cook"
    serve_at: Moment | None = None
    guests: int | None = Field(None, ge=1)
    altitude_m: float = Field(0, ge=-430, le=6000)
    portion: Annotated[Mass, Field(gt=0)] | None = None


class TimersTable(FileTable):
    """What is done again and again, every so often; ``off`` for not at all."""

    model_config = ConfigDict(extra="forbid", frozen=True, defer_build=True, validate_by_alias=True)

    spritz: Every | None = None
    water_pan: Every | None = Field(None, alias="water-pan")
    fuel: Every | None = None

    def timers(self) -> tuple[tuple[str, int], ...]:
        given = self.model_dump(by_alias=True, exclude_none=True)
        return tuple(given.items())


class CookFile(FileTable):
    cook: CookTable = CookTable()
    service: tuple[ServiceTable, ...] = ()
    piece: tuple[PieceTable, ...] = ()
    channel: tuple[ChannelTable, ...] = ()
    timers: TimersTable = TimersTable()

    @model_validator(mode="after")
    def _names_are_known(self) -> CookFile:
        pieces = [table.id for table in self.piece]
        channels = [table.id for table in self.channel]
        for what, ids in (("piece", pieces), ("channel", channels)):
            for name in ids:
                if ids.count(name) > 1:
                    raise ValueError(f"{what} id '{name}' is given twice: each needs its own")
        for table in self.channel:
            if table.piece is not None and table.piece not in pieces:
                fault = unknown("piece", table.piece, pieces)
                raise ValueError(f"channel '{table.id}': {fault}")
        for piece in self.piece:
            if piece.pit is not None and channels and piece.pit not in channels:
                raise ValueError(
                    f"piece '{piece.id}': {unknown('pit channel', piece.pit, channels)}"
                )
            places = [service.place for service in self.service if service.place]
            if piece.service is not None and piece.service not in places:
                raise ValueError(f"piece '{piece.id}': {unknown('service', piece.service, places)}")
        return self

    def to_cook(self) -> cooks.Cook:
        services = tuple(
            cooks.Service(**table.model_dump(exclude={"at"}), at_ms=table.at)
            for table in self.service
        )
        if not services and self.cook.serve_at is not None:
            services = (cooks.Service(self.cook.serve_at, guests=self.cook.guests),)
        return cooks.Cook(
            name=self.cook.name,
            pieces=tuple(table.piece() for table in self.piece),
            channels=tuple(table.channel() for table in self.channel),
            services=services,
            guests=self.cook.guests,
            altitude_m=self.cook.altitude_m,
            portion_mg=self.cook.portion,
            timers=self.timers.timers(),
        )


def load_cook(path: Path) -> cooks.Cook:
    """Return the cook a file describes.

    Raises:
        CookFileError: With ``file:line``, what was given and what was expected.
    """
    return read_toml(path, CookFile, CookFileError).to_cook()


def parse_cook(text: str, name: str = "cook file") -> cooks.Cook:
    """Return the cook a text describes; ``name`` stands for the file in messages."""
    return parse_toml(text, CookFile, CookFileError, name).to_cook()
