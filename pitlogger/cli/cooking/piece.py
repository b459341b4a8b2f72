"""``pitlogger piece``: add, split and merge pieces, set their targets."""

from __future__ import annotations

from typing import Any

import click

from pitlogger.cli.daemon import DaemonClient, to_journal


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
@to_journal
def add(daemon: DaemonClient, piece_id: str, cook: str | None, **given: Any) -> None:
    """Add a piece to the running cook."""
    table = {"id": piece_id} | {name: value for name, value in given.items() if value is not None}
    entry = daemon.post("/pieces", piece=table, cook=cook)
    daemon.emit(entry, f"added: {piece_id}")


@piece.command()
@click.argument("parent")
@click.argument("children", nargs=-1, required=True)
@to_journal
def split(daemon: DaemonClient, parent: str, children: tuple[str, ...]) -> None:
    """Split PARENT into CHILDREN, such as brisket-1-point brisket-1-flat."""
    into = [{"id": child} for child in children]
    entry = daemon.post(f"/pieces/{parent}/split", into=into)
    daemon.emit(entry, f"{parent} became {', '.join(children)}")


@piece.command()
@click.argument("child")
@click.argument("parents", nargs=-1, required=True)
@to_journal
def merge(daemon: DaemonClient, child: str, parents: tuple[str, ...]) -> None:
    """Merge PARENTS into CHILD, as when pulled together."""
    entry = daemon.post("/merge", pieces=list(parents), into={"id": child})
    daemon.emit(entry, f"{', '.join(parents)} became {child}")


@piece.command()
@click.argument("piece_id", metavar="ID")
@click.option("--wrap-at", help="When to wrap, such as 165F, or never.")
@click.option("--pull-at", help="When to take it off the pit, such as 203F.")
@to_journal
def target(daemon: DaemonClient, piece_id: str, **given: Any) -> None:
    """Set the wrap or pull temperature of a piece."""
    entry = daemon.post("/targets", piece=piece_id, **given)
    daemon.emit(entry, f"{piece_id}: targets set")
