"""Keys of the configuration that have a new name or are gone, and files that still use them.

An old key is taken, with a warning, in the minor version that renamed it and in the next; later it
is an error that says what it is called now. ``pitlogger config migrate`` knows every rename for
ever (docs/compatibility.md).
"""

from __future__ import annotations

import logging
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pitlogger import __version__
from pitlogger.errors import ConfigError

if TYPE_CHECKING:
    from tomlkit.container import Container

log = logging.getLogger(__name__)
MINOR_VERSIONS = 2


@dataclass(frozen=True, slots=True)
class Rename:
    """One key that was renamed within its table, or taken out of it.

    Attributes:
        table: Dotted path of the table; each entry of an array of tables counts: ``notify.way``.
        new: Empty for a key that is gone.
        since: Minor version that renamed it: ``0.2``.
    """

    table: str
    old: str
    new: str
    since: str

    @property
    def words(self) -> str:
        became = f"is called '{self.new}'" if self.new else "is gone"
        return f"'{self.table}.{self.old}' {became} since {self.since}"

    def works_in(self, version: str) -> bool:
        """Return whether the old key still works in a version."""
        major, minor = _minor(version)
        since_major, since_minor = _minor(self.since)
        return major == since_major and minor < since_minor + MINOR_VERSIONS


RENAMES: tuple[Rename, ...] = (Rename("mqtt", "homie", "", "0.2"),)


def with_new_names(
    document: dict[str, Any],
    name: str,
    renames: tuple[Rename, ...] | None = None,
    version: str = __version__,
) -> dict[str, Any]:
    """Return the tables of a file with each old key under its new name; warn of each.

    Args:
        document: What was read; it is changed.
        name: Stands for the file in messages.

    Raises:
        ConfigError: A key stands there under both names, or the old one no longer works.
    """
    for rename in RENAMES if renames is None else renames:
        said = f"{name}: {rename.words}"
        found = [t for t in _tables(document, rename.table.split(".")) if rename.old in t]
        for number, table in enumerate(found):
            if rename.new and rename.new in table:
                raise ConfigError(f"{said}, and both are given: remove '{rename.old}'")
            remedy = f"`pitlogger config migrate {name}` rewrites it"
            if not rename.works_in(version):
                raise ConfigError(f"{said}: {remedy}")
            if number == 0:
                log.warning("%s: %s", said, remedy)
            held = table.pop(rename.old)
            if rename.new:
                table[rename.new] = held
    return document


def migrated(text: str, renames: tuple[Rename, ...] | None = None) -> str:
    """Return a configuration text with new names; comments, order and spaces stay as they were.

    Raises:
        ConfigError: It is not TOML.
    """
    import tomlkit
    from tomlkit.exceptions import TOMLKitError

    try:
        document = tomlkit.parse(text)
    except TOMLKitError as fault:
        raise ConfigError(f"not valid TOML: {fault}") from None
    for rename in RENAMES if renames is None else renames:
        for container in _containers(document, rename.table.split(".")):
            for at, (key, item) in enumerate(container.body):
                if key is None or key.key != rename.old:
                    continue
                if not rename.new:
                    container.remove(rename.old)
                    break
                new = tomlkit.key(rename.new)
                written = key.as_string()
                new.sep = written[len(written.rstrip()) :] + key.sep
                container.body[at] = (new, item)
    return document.as_string()


def _tables(document: Any, path: list[str]) -> Iterator[dict[str, Any]]:
    if isinstance(document, list):
        for one in document:
            yield from _tables(one, path)
    elif isinstance(document, dict):
        if not path:
            yield document
        elif path[0] in document:
            yield from _tables(document[path[0]], path[1:])


def _containers(container: Container, path: list[str]) -> Iterator[Container]:
    """Yield the containers of tables at a path, in the parts they are written in."""
    from tomlkit.items import AoT, InlineTable, Table

    if not path:
        yield container
        return
    for key, item in container.body:
        if key is None or key.key != path[0]:
            continue
        for table in item.body if isinstance(item, AoT) else [item]:
            if isinstance(table, (Table, InlineTable)):
                yield from _containers(table.value, path[1:])


def _minor(version: str) -> tuple[int, int]:
    major, minor = version.split(".")[:2]
    return int(major), int(minor)
