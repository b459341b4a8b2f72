"""``pitlogger uplink``: send this node's record to a hub."""

from __future__ import annotations

from typing import Any

import click

from pitlogger.cli.daemon import DaemonClient, to_daemon, to_journal
from pitlogger.model.quantities import show_share


@click.group()
def uplink() -> None:
    """Send this node's record to a hub, and see how that fares."""


@uplink.command()
@to_daemon
def status(daemon: DaemonClient) -> None:
    """Say which hub there is, what waits and what is wrong."""
    found = daemon.get("/uplink")
    daemon.emit(found, described(found))


def described(found: dict[str, Any]) -> str:
    """Return how an uplink fares, in words."""
    if found["hub"] is None:
        return f"node {found['uid']}: no hub. Join one: pitlogger uplink join HUB CODE"
    lines = [f"node {found['uid']} sends to {found['hub']}"]
    waiting = found["waiting"]
    many = f"{waiting} bundles wait for their receipt"
    wait = "1 bundle waits for its receipt" if waiting == 1 else many
    lines.append(wait if waiting else "nothing waits")
    if found["refused"]:
        lines.append(f"{found['refused']} bundles were set aside by the hub: see the log")
    if found["contradicted"]:
        lines.append(
            f"{found['contradicted']} records are at the hub already and say something else there:"
            " the first stays. Two cards with one key? Give the copy a record of its own"
        )
    if found["offered"]:
        lines.append(f"the firm offers what its sites yield of {found['offered']} cuts, for plans:"
                     " pitlogger uplink priors")  # fmt: skip
    if found["fault"]:
        lines.append(found["fault"])
    return "\n".join(lines)


@uplink.command()
@click.argument("hub", required=False, default="")
@click.argument("code")
@to_daemon
def join(daemon: DaemonClient, hub: str, code: str) -> None:
    """Join a hub by the CODE that it shows.

    HUB is its address, such as kitchen.local; left out, it is found on the local network. What
    a hub shows as a QR code is this whole line.
    """
    found = daemon.post("/uplink/join", hub=hub, code=code)
    words = f"joined {found['address']} as {found['tenant']}, {found['site']}"
    daemon.emit(found, f"{words}; all that is on record here is being sent")


@uplink.command()
@click.option("--take", "answer", flag_value="take", help="Use them in plans on this node.")
@click.option("--decline", "answer", flag_value="decline", help="Use the published ones.")
@click.option("--undo", "answer", flag_value="undo", help="As before it was taken or declined.")
@to_journal
def priors(daemon: DaemonClient, answer: str | None) -> None:
    """Show what the firm's other sites yield, as an offer for plans here.

    Nothing of it is used before it is taken, and what was taken stays as it was until a newer
    offer is taken or it is declined.
    """
    if answer is None:
        found = daemon.get("/uplink/priors")
    else:
        found = daemon.post("/uplink/priors", answer=answer)
    daemon.emit(found, lambda: offered(found))


def offered(found: dict[str, Any]) -> str:
    """Return an offer of priors in words, a line a cut."""
    from pitlogger.uplink.offers import PriorOffer

    offer = PriorOffer.model_validate(found)
    lines = [
        f"{one.cut}: {show_share(one.mid, 1)} servable, four of five pieces between "
        f"{show_share(one.low, 1)} and {show_share(one.high, 1)} "
        f"({one.of.sites} other sites of {offer.firm}, {one.of.pieces} pieces):"
        f" {one.state}"
        for one in offer.cuts()
    ]
    if not lines:
        return "the firm offers nothing yet: three other sites have to weigh three pieces of a cut"
    return "\n".join((*lines, "take them: pitlogger uplink priors --take; or --decline; --undo"))


@uplink.command()
@to_daemon
def leave(daemon: DaemonClient) -> None:
    """Stop sending. What the hub received stays there."""
    found = daemon.post("/uplink/leave")
    daemon.emit(found, described(found))
