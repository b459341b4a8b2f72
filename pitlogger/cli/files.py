"""Files and folders as options and arguments take them."""

from __future__ import annotations

from pathlib import Path

import click

FILE = click.Path(path_type=Path, dir_okay=False)
FOLDER = click.Path(path_type=Path, file_okay=False)
PATH = click.Path(path_type=Path)
