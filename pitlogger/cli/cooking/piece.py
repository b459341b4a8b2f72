"""``pitlogger piece``: add, split and merge pieces, set their targets."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from pitlogger.cli.client import Client, socket_option
from pitlogger.cli.output import by_option, emit, json_option


@click.group()
def piece() -> None:
    """Add, split and merge pieces of the running cook."""


@piece.command()
@click.argument("piece_id", metavar="ID")
@click.option("--cut", default="other", show_default=True, help="Which cut it is.")
@click.option("--count", type=int, default=1, show_default=True, help="How many, for a batch.")
@click.option("--mass", help="Its mass, such as 14 lb 3 oz.")
@click.option("--wrap", help="none, paper, foil, boat or pan.")
@click.option("--wrap-at", help="When to wrap, such as 165F, or never.")
@click.option("--pull-at", help="When to take it off the pit, such as 203F.")
@click.option("--pit", help="Channel of the pit it sits in.")
@click.option("--supplier", help="Who sold it.")
@click.option("--grade", help="Its grade.")
@click.option("--cook", help="Which cook it is of, where several are open.")
@by_option
@socket_option
@json_option
def add(piece_id: str, cook: str | None, by: str, socket: Path | None, as_json: bool,
        **given: Any) -> None:  # fmt: skip
    """Add a piece to the running cook."""
    table = {"id": piece_id} | {name: value for name, value in given.items() if value is not None}
    entry = Client(socket).post("/pieces", piece=table, cook=cook, by=by)
    emit(entry, as_json, f"added: {piece_id}")


@piece.command()
@click.argument("parent")
@click.argument("children", nargs=-1, required=True)
@by_option
@socket_option
@json_option
def split(parent: str, children: tuple[str, ...], by: str, socket: Path | None,
          as_json: bool) -> None:  # fmt: skip
    """Split PARENT into CHILDREN, such as brisket-1-point brisket-1-flat."""
    into = [{"id": child} for child in children]
    entry = Client(socket).post(f"/pieces/{parent}/split", into=into, by=by)
    emit(entry, as_json, f"{parent} became {', '.join(children)}")


@piece.command()
@click.argument("child")
@click.argument("parents", nargs=-1, required=True)
@by_option
@socket_option
@json_option
def merge(child: str, parents: tuple[str, ...], by: str, socket: Path | None,
          as_json: bool) -> None:  # fmt: skip
    """Merge PARENTS into CHILD, as when pulled together."""
    entry = Client(socket).post("/merge", pieces=list(parents), into={"id": child}, by=by)
    emit(entry, as_json, f"{', '.join(parents)} became {child}")


@piece.command()
@click.argument("piece_id", metavar="ID")
@click.option("--wrap-at", help="When to wrap, such as 165F, or never.")
@click.option("--pull-at", help="When to take it off the pit, such as 203F.")
@by_option
@socket_option
@json_option
def target(piece_id: str, by: str, socket: Path | None, as_json: bool, **given: Any) -> None:
    """Set the wrap or pull temperature of a piece."""
    entry = Client(socket).post("/targets", piece=piece_id, by=by, **given)
    emit(entry, as_json, f"{piece_id}: targets set")
