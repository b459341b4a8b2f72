"""The configuration file (TOML) as models; an unknown key is an error with its line.

``[[device]]`` tables hold the driver's own keys beside ``id`` and ``driver``; those are
checked by the driver's model when the driver is loaded.
"""

from __future__ import annotations

import os
import re
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, PrivateAttr, model_validator

from pitlogger.config_notify import NotifyTable
from pitlogger.config_renames import with_new_names
from pitlogger.errors import ConfigError
from pitlogger.formats.cook_file import Duration, Id, Mass, SiteId
from pitlogger.formats.file_table import FileTable
from pitlogger.formats.toml import parse_toml, read_toml
from pitlogger.model.next_steps import ButtonAct
from pitlogger.model.quantities import parse_mass_mg, parse_temperature_step_mc
from pitlogger.model.readings import Site


def _offset(value: Any) -> int:
    """Return an offset in milli-units: a temperature step or, for a scale, a mass."""
    if not isinstance(value, str):
        raise ValueError('expected text with its unit, such as "-1.5F" or "12 g"')
    if value.rstrip().casefold().endswith(("f", "c")):
        return parse_temperature_step_mc(value)
    sign = -1 if value.strip().startswith("-") else 1
    return sign * parse_mass_mg(value.strip().lstrip("+-"))


Offset = Annotated[int, BeforeValidator(_offset)]


def _topic(value: Any) -> str:
    """Return a topic to publish under (MQTT 5, 4.7.1: no wildcards)."""
    if not isinstance(value, str) or re.fullmatch(r"[^+#$/\s][^+#\s]*", value) is None:
        raise ValueError('expected a topic without + # or spaces, such as "pitlogger"')
    return value.rstrip("/")


PAGE_FILE = "page.toml"
Topic = Annotated[str, BeforeValidator(_topic)]


def default_data() -> Path:
    """Return where records lie unless the configuration says otherwise."""
    state = os.environ.get("STATE_DIRECTORY")
    if state:
        return Path(state.partition(":")[0])
    home = os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share"
    return Path(home) / "pitlogger"


class NodeTable(FileTable):
    name: Id = "pit"
    data: Path = Field(default_factory=default_data)
    socket: Path | None = None  # default: pitlogger.sock in the data folder


class UnitsTable(FileTable):
    temperature: Literal["F", "C"] = "F"
    mass: Literal["lb-oz", "lb", "oz", "kg", "g"] = "lb-oz"
    currency: str = "USD"
    language: Annotated[str, Field(pattern=r"^[A-Za-z]{2,3}(-[A-Za-z0-9]+)*$")] = "en"


class DeviceChannelTable(FileTable):
    id: Id
    name: str | None = None  # the driver's name for it; may be left out where there is one
    site: SiteId = Site.NONE
    piece: str | None = None
    offset: Offset = 0
    stale_after: Duration | None = None
    scale_interval: Mass | None = None


class ButtonTable(FileTable):
    """What presses of a device's button do."""

    name: str = "button"  # the driver's name for it: button, button-2
    press: ButtonAct | None = None
    double: ButtonAct | None = None
    triple: ButtonAct | None = None
    long: ButtonAct | None = None
    piece: str | None = None  # where a press could mean several
    scale: Id | None = None

    @model_validator(mode="after")
    def _does_something(self) -> ButtonTable:
        if not any((self.press, self.double, self.triple, self.long)):
            raise ValueError('say what it does, such as press = "keep-weight"')
        return self


class DeviceTable(BaseModel):
    """One device. Keys that are not named here belong to its driver."""

    model_config = ConfigDict(extra="allow", frozen=True, defer_build=True)

    id: Id
    driver: str
    channel: tuple[DeviceChannelTable, ...] = ()
    button: tuple[ButtonTable, ...] = ()

    def own_keys(self) -> dict[str, Any]:
        """Return the keys that belong to the driver."""
        return dict(self.model_extra or {})


class WebTable(FileTable):
    enabled: bool = True
    host: str = "0.0.0.0"  # noqa: S104  the page is for phones on the same network
    port: int = Field(8130, ge=0, le=65535)
    names: tuple[str, ...] = ()  # further host names the page may be opened under
    open_read: bool = False
    one_time_link: bool = False  # print an address that pairs one browser as owner
    tls_cert: Path | None = None
    tls_key: Path | None = None

    @model_validator(mode="after")
    def _certificate_has_its_key(self) -> WebTable:
        if (self.tls_cert is None) != (self.tls_key is None):
            raise ValueError("tls_cert and tls_key go together: give both, or neither")
        return self


class MqttTable(FileTable):
    enabled: bool = False
    host: str = "localhost"
    port: int = Field(1883, ge=1, le=65535)
    username: str | None = None
    password_file: Path | None = None
    tls: bool = False
    ca_file: Path | None = None
    base: Topic = "pitlogger"
    discovery_prefix: Topic | None = None
    commands: bool = False
    max_per_s: float = Field(1.0, gt=0, le=50)
    limits: dict[str, Annotated[float, Field(gt=0, le=50)]] = Field(default_factory=dict)


class PolicyTable(FileTable):
    name: Literal["retail-food-code", "inspected-plant", "home"] = "retail-food-code"
    file: Path | None = None  # limits of your own, laid over the named policy
    alerts: Path | None = None  # how alerts behave: only the keys you change
    targets: Path | None = None  # targets of cuts: only the keys you change
    timers: Path | None = None  # spritz, water pan, fuel: only the keys you change
    kitchen: Path | None = None  # how long trimming, carving, thawing take: likewise
    stage_from: Literal["person", "asked", "taken"] = "asked"  # who sets a stage nobody marked
    stage_chance: float = Field(0.9, ge=0.5, lt=1.0)  # how likely it has to be


class PremisesTable(FileTable):
    """What stands at the head of the food log. What is not given is written in by hand."""

    name: Annotated[str, Field(max_length=120)] = ""
    address: Annotated[str, Field(max_length=200)] = ""
    person_in_charge: Annotated[str, Field(max_length=120)] = ""
    permit: Annotated[str, Field(max_length=80)] = ""  # licence or permit number


class StoreTable(FileTable):
    backups: Path | None = None
    keep_readings_days: int | None = Field(None, ge=1)


class HubTable(FileTable):
    """Collects the records of other nodes; they join with ``pitlogger uplink join``."""

    enabled: bool = False
    host: str = "0.0.0.0"  # noqa: S104  nodes are elsewhere on the network
    port: int = Field(8443, ge=0, le=65535)
    firm: str = "own"
    site: str = "home"  # where this node itself belongs


class Config(FileTable):
    node: NodeTable = Field(default_factory=NodeTable)
    units: UnitsTable = UnitsTable()
    device: tuple[DeviceTable, ...] = ()
    web: WebTable = WebTable()
    mqtt: MqttTable = MqttTable()
    notify: NotifyTable = NotifyTable()
    policy: PolicyTable = PolicyTable()
    premises: PremisesTable = PremisesTable()
    store: StoreTable = StoreTable()
    hub: HubTable = HubTable()
    _own: frozenset[str] = PrivateAttr(default=frozenset())

    def model_post_init(self, _context: Any) -> None:
        self._own = frozenset(self.model_fields_set)

    @property
    def own_tables(self) -> frozenset[str]:
        """Which tables were given, whatever was laid under or over them since."""
        return self._own

    @model_validator(mode="after")
    def _ids_are_unique(self) -> Config:
        devices = [device.id for device in self.device]
        channels = [channel.id for device in self.device for channel in device.channel]
        for what, ids in (("device", devices), ("channel", channels)):
            for name in ids:
                if ids.count(name) > 1:
                    raise ValueError(f"{what} id '{name}' is given twice: each needs its own")
        return self

    @model_validator(mode="after")
    def _ways_have_their_broker(self) -> Config:
        for way in self.notify.way:
            if way.kind == "mqtt" and not self.mqtt.enabled:
                raise ValueError(
                    f"notify.way '{way.id}' speaks over MQTT, and [mqtt] enabled is false"
                )
        return self

    @property
    def socket(self) -> Path:
        """Where the daemon listens for the command line."""
        return self.node.socket or self.node.data / "pitlogger.sock"

    @property
    def languages(self) -> Path:
        """Folder of ``.po`` files of one's own."""
        return self.node.data / "languages"

    @property
    def database(self) -> Path:
        return self.node.data / "pitlogger.db"

    @property
    def backups(self) -> Path:
        """Folder of backups."""
        return self.store.backups or self.node.data / "backups"


def load_config(path: Path, faults: list[str] | None = None) -> Config:
    """Return the configuration in a file, with what lies beside the record.

    Args:
        faults: Takes what is wrong with a file beside the record, which is then left out: a
            daemon has to start whatever became of those.

    Raises:
        ConfigError: With ``file:line``, what was given and what was expected.
    """
    return with_beside(read_toml(path, Config, ConfigError, with_new_names), faults)


def with_beside(config: Config, faults: list[str] | None = None) -> Config:
    """Return a configuration with what page and commands wrote beside the record.

    The service may not write its own configuration, so devices that are joined lie in
    ``devices.d`` and what is set on the page in ``page.toml``.

    Raises:
        ConfigError: A file that cannot be used, where ``faults`` takes none.
    """
    folder = config.node.data
    readers = [(path, joined_from) for path in sorted((folder / "devices.d").glob("*.toml"))]
    if (folder / PAGE_FILE).exists():
        readers.append((folder / PAGE_FILE, with_page))
    for path, read in readers:
        try:
            config = read(config, path)
        except ConfigError as fault:
            if faults is None:
                raise
            faults.append(f"left out: {fault}")
    return config


class _Joined(FileTable):
    """A file of devices that were joined by pointing at them."""

    device: tuple[DeviceTable, ...]


def joined_from(config: Config, path: Path) -> Config:
    """Return a configuration with the devices of one more file of ``devices.d``.

    Raises:
        ConfigError: A file that cannot be used, or a device of an id there is already.
    """
    joined = read_toml(path, _Joined, ConfigError, with_new_names).device
    known = {table.id for table in config.device}
    for table in joined:
        if table.id in known:
            raise ConfigError(f"{path}: device '{table.id}' is configured already: remove one")
    return config.model_copy(update={"device": (*config.device, *joined)})


def parted_from(config: Config, path: Path) -> Config:
    """Return a configuration without the devices of one file of ``devices.d``.

    Raises:
        ConfigError: A file that cannot be read.
    """
    gone = {table.id for table in read_toml(path, _Joined, ConfigError, with_new_names).device}
    left = tuple(table for table in config.device if table.id not in gone)
    return config.model_copy(update={"device": left})


class PageTables(FileTable):
    """What is set on the page."""

    units: UnitsTable = UnitsTable()
    policy: PolicyTable = PolicyTable()
    premises: PremisesTable = PremisesTable()
    notify: NotifyTable = NotifyTable()


def with_page(config: Config, path: Path) -> Config:
    """Return a configuration with the tables of ``page.toml`` that it has not itself.

    Raises:
        ConfigError: A file that cannot be used.
    """
    page = read_toml(path, PageTables, ConfigError, with_new_names)
    taken = page.model_fields_set - config.own_tables
    return config.model_copy(update={name: getattr(page, name) for name in taken})


def parse_config(text: str, name: str = "configuration") -> Config:
    """Return the configuration in a text; ``name`` stands for the file in messages."""
    return parse_toml(text, Config, ConfigError, name, with_new_names)
