"""What a person does at the pit: stage, weigh, temp, note."""

from __future__ import annotations

from typing import Any

import click

from pitlogger.cli.cooking.mend import cook_option
from pitlogger.cli.daemon import DaemonClient, to_journal
from pitlogger.cli.moments import at_option, moment_text, said_at
from pitlogger.model.cooks import WEIGHABLE, WRAPS, Stage


def _kept(entry: dict[str, Any], words: str) -> str:
    return f"{words} (entry {entry['id']})"


@click.command()
@click.argument("piece")
@click.argument("stage", metavar=f"[{'|'.join(Stage)}]")
@at_option
@click.option("--wrap", type=click.Choice(WRAPS), help="In what it was wrapped.")
@click.option("--mass", help="How much was discarded, such as 2 lb; a part is asked about.")
@click.option("--reason", help="Why it was discarded.")
@cook_option
@to_journal
def stage(
    daemon: DaemonClient, piece: str, stage: str, at: str | None, cook: str | None, **given: Any
) -> None:
    """Set the stage of PIECE, now or in the past (--at "10 min ago")."""
    from pitlogger.views import words

    entry = daemon.post(
        "/stages", piece=piece, stage=stage, cook=cook,
        at=moment_text(at, daemon, cook, piece=piece), **given,
    )  # fmt: skip
    when = said_at(entry["happened"], at)
    if entry["kind"] == "weighed":  # a part was thrown away
        text = f"{piece}: {given['mass']} of it discarded{when}; the rest goes on"
    else:
        text = f"{piece}: {words.stage(Stage(entry['stage']))}{when}"
    daemon.emit(entry, _kept(entry, text))


@click.command()
@click.argument("piece")
@click.argument("checkpoint", metavar=f"[{'|'.join(WEIGHABLE)}]")
@click.argument("mass", nargs=-1)
@click.option("--tare", metavar="MASS", help="Mass of the container, set aside.")
@click.option("--container", help="Name of the container.")
@click.option("--scale", "channel", help="Which scale; may be left out where there is one.")
@at_option
@cook_option
@to_journal
def weigh(
    daemon: DaemonClient, piece: str, checkpoint: str, mass: tuple[str, ...], at: str | None,
    cook: str | None, **given: Any,
) -> None:  # fmt: skip
    """Keep the mass of PIECE at CHECKPOINT: typed ("13 lb 7 oz"), or what rests on the scale."""
    from pitlogger.model.quantities import parse_mass_mg, show_mass

    typed = " ".join(mass) or None
    for text in (typed, given["tare"]):
        if text is not None:
            parse_mass_mg(text)
    entry = daemon.post(
        "/weighings", piece=piece, checkpoint=checkpoint, mass=typed,
        at=moment_text(at, daemon, cook, piece=piece), cook=cook, **given,
    )  # fmt: skip
    kept = show_mass(entry["net_g"] * 1000)
    when = said_at(entry["happened"], at)
    lines = [
        _kept(entry, f"{piece} at {entry['checkpoint']}: {kept} ({entry['net_g']:.0f} g){when}")
    ]
    if entry["doubts"]:
        from pitlogger.views.doubts import as_read

        unit = daemon.get("/status")["units"]["mass"]
        lines += [f"? {as_read(doubt['message'], unit)}" for doubt in entry["doubts"]]
    daemon.emit(entry, "\n".join(lines))


class _BelowZero(click.Command):
    """A command whose values may begin with a minus, wherever a ``--`` stands before them."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        ctx.ignore_unknown_options = True  # -18C is a temperature
        rest = super().parse_args(ctx, [arg for arg in args if arg != "--"])
        for word in ctx.params.get("typed") or ():
            if word.startswith("--"):
                raise click.NoSuchOption(word, ctx=ctx)
        return rest


@click.command(cls=_BelowZero)
@click.argument("where", metavar="PIECE|SITE")
@click.argument("typed", metavar="TEMPERATURE", nargs=-1, required=True)
@click.option("--with", "probe", metavar="PROBE", help="With which probe.")
@at_option
@cook_option
@to_journal
def temp(
    daemon: DaemonClient, where: str, typed: tuple[str, ...], at: str | None, cook: str | None,
    probe: str | None,
) -> None:  # fmt: skip
    """Enter a hand probe's reading, such as 203F, of a piece's core or of a site."""
    from pitlogger.model.quantities import parse_temperature_mc
    from pitlogger.model.readings import Site

    value = " ".join(typed)
    parse_temperature_mc(value)
    place = {"site": where} if where in set(Site) else {"piece": where}
    entry = daemon.post(
        "/temps", value=value, probe=probe, cook=cook,
        at=moment_text(at, daemon, cook, piece=where), **place,
    )  # fmt: skip
    daemon.emit(entry, _kept(entry, f"{where}: {value}{said_at(entry['happened'], at)}"))


@click.command()
@click.argument("piece")
@click.option(
    "--hours",
    type=click.Choice(["4", "6"]),
    default="4",
    show_default=True,
    help="Four from cold or hot; six from cold, read, and never above 70 F.",
)
@at_option
@to_journal
def hold_by_time(daemon: DaemonClient, piece: str, hours: str, at: str | None) -> None:
    """Hold PIECE by time instead of temperature: marked, and thrown away at its discard time."""
    at = moment_text(at, daemon, piece=piece)
    entry = daemon.post("/time-controls", piece=piece, hours=int(hours), at=at)
    when = said_at(entry["happened"], at)
    most = ", while its warmest part reads 70 F (21 C) or less" if hours == "6" else ""
    daemon.emit(entry, _kept(entry, f"{piece}: held by time, {hours} h{when}{most}"))


@click.command()
@click.argument("piece")
@click.option("--temp", "value", help="Its temperature when it came, such as 38F.")
@click.option("--condition", default="", help='What was seen: "cold, sealed"; why it was refused.')
@click.option("--accepted/--refused", default=True, show_default=True)
@click.option("--supplier", help="Who sold it.")
@click.option("--lot", help="Its lot, from the box.")
@at_option
@cook_option
@to_journal
def receive(
    daemon: DaemonClient, piece: str, accepted: bool, at: str | None, cook: str | None, **given: Any
) -> None:
    """Write down how PIECE came in: temperature, condition, accepted or refused."""
    at = moment_text(at, daemon, cook, piece=piece)
    entry = daemon.post("/receipts", piece=piece, accepted=accepted, at=at, cook=cook, **given)
    when = said_at(entry["happened"], at)
    daemon.emit(entry, _kept(entry, f"{piece}: {'accepted' if accepted else 'refused'}{when}"))


@click.command()
@click.argument("text", nargs=-1, required=True)
@click.option("--piece", help="The piece it is about.")
@cook_option
@to_journal
def note(daemon: DaemonClient, text: tuple[str, ...], piece: str | None, cook: str | None) -> None:
    """Write a note into the journal."""
    entry = daemon.post("/notes", text=" ".join(text), piece=piece, cook=cook)
    daemon.emit(entry, _kept(entry, "noted"))
