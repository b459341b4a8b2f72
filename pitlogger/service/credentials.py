"""Secrets from systemd: a secret file named without a folder lies in the credentials directory.

``LoadCredential=mqtt-password:/etc/pitlogger/secrets/mqtt-password`` in the unit and
``password_file = "mqtt-password"`` in the configuration (systemd.exec(5), CREDENTIALS).
"""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import TypeGuard, TypeVar

from pydantic import BaseModel

from pitlogger.errors import ConfigError

Model = TypeVar("Model", bound=BaseModel)
_PUBLIC = ("ca_file", "file")  # named as files, and no secrets


def with_credentials(model: Model, environment: Mapping[str, str] = os.environ) -> Model:
    """Return a configuration whose secret files are found where systemd put them."""
    folder = environment.get("CREDENTIALS_DIRECTORY")
    return model if folder is None else _placed(model, Path(folder))


def _placed(model: Model, folder: Path) -> Model:
    changed: dict[str, object] = {}
    for name, held in _fields(model):
        if isinstance(held, BaseModel):
            changed[name] = _placed(held, folder)
        elif isinstance(held, tuple):
            changed[name] = tuple(
                _placed(item, folder) if isinstance(item, BaseModel) else item for item in held
            )
        elif _is_secret(held, name) and held.name == str(held) and (folder / held).exists():
            changed[name] = folder / held
    return model.model_copy(update=changed)


def secret_files(model: BaseModel) -> Iterator[Path]:
    """Yield the files that a configuration names as secrets."""
    for name, held in _fields(model):
        if isinstance(held, BaseModel):
            yield from secret_files(held)
        elif isinstance(held, tuple):
            for item in held:
                if isinstance(item, BaseModel):
                    yield from secret_files(item)
        elif _is_secret(held, name):
            yield held


def refuse_open_secrets(model: BaseModel) -> None:
    """Refuse secrets that everybody on this machine may read.

    Raises:
        ConfigError: With the file and what to do.
    """
    for path in secret_files(model):
        if path.exists() and path.stat().st_mode & stat.S_IROTH:
            raise ConfigError(
                f"the secret in {path} may be read by everybody on this machine;"
                f" expected a file that only its owner and group read. Run: chmod o-r {path}"
            )


def _fields(model: BaseModel) -> Iterator[tuple[str, object]]:
    for name in type(model).model_fields:
        yield name, getattr(model, name)


def _is_secret(held: object, name: str) -> TypeGuard[Path]:
    return isinstance(held, Path) and name.endswith("_file") and name not in _PUBLIC
