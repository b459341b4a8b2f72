"""`pitlogger yield`: what became of the meat, step by step."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pitlogger.cli.ahead.history import (
    books_on_record,
    cut_option,
    history_option,
    past_cooks,
    record_option,
)
from pitlogger.cli.ahead.options import named_as_options
from pitlogger.cli.output import emit, json_option
from pitlogger.model.quantities import SHOWN_MASSES

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pitlogger.cli.ahead.history import DaemonRecord
    from pitlogger.yields.ledger import Account
    from pitlogger.yields.records import PastPiece

_BAR = 28


@click.command("yield")
@click.argument("cook", required=False)
@cut_option
@click.option(
    "--weights",
    metavar="LIST",
    help="Weights by checkpoint: purchased=14.2lb,trimmed=11.3lb,carved=7.05lb",
)
@history_option
@click.option("--policy", type=click.Choice(["inspected-plant"]),
              help="Also judge the cooked share by this policy.")  # fmt: skip
@click.option("--unit", type=click.Choice(SHOWN_MASSES),
              help="Unit of masses shown; that of the weights, else of your settings.")  # fmt: skip
@record_option
@json_option
def yield_command(
    cook: str | None,
    cut: str | None,
    weights: str | None,
    history_file: Path | None,
    policy: str | None,
    unit: str | None,
    as_json: bool,
) -> None:
    """Show steps, servable yield and loss by cause of a COOK or of typed weights.

    The servable yield is the carved (else rested) net mass over the purchased net mass.
    A weighing that was left out stays missing.
    """
    from pitlogger.yields.document import learned_document, piece_document
    from pitlogger.yields.learned.servable import learn, observations
    from pitlogger.yields.ledger import accounts_of_history

    known = _known(cut) if cut else None
    name, pieces, past = _pieces(cook, known, weights, history_file)
    made = accounts_of_history(pieces)
    asked = known or (pieces[0].cut if pieces else "other")
    learned = learn(asked, observations(past))
    document: dict[str, Any] = {
        "cook": name,
        "pieces": [piece_document(one) for one in made],
        "learned": learned_document(learned),
    }
    if policy is not None:
        document["plant"] = [_plant(one) for one in made]
    emit(document, as_json, "" if as_json else _text(document, asked, _unit(unit, weights, name)))


def _known(cut: str) -> str:
    from pitlogger.planning.fields import known_cut

    with named_as_options():
        return known_cut(cut)


def _unit(asked: str | None, weights: str | None, cook: str | None) -> str:
    """Return the unit to show masses in: as asked, as typed, as the daemon shows them."""
    from pitlogger.formats.written_mass import unit_written

    if asked is None and weights is not None:
        return unit_written(weights)
    if asked is None and cook is not None:
        record: DaemonRecord | None = click.get_current_context().obj
        asked = record.mass_unit() if record is not None else None
    return asked or "lb-oz"


def _plant(one: Account) -> dict[str, Any]:
    from pitlogger.yields.inspected_plant import LIMIT_PCT, SOURCE, barbecue_limit

    found = barbecue_limit(one)
    return {
        "piece": one.record.piece,
        "cooked_pct_of_fresh": None if found.pct is None else round(found.pct, 3),
        "limit_pct": LIMIT_PCT,
        "met": found.met,
        "source": SOURCE,
        "reason": found.reason,
    }


def _pieces(
    cook: str | None, cut: str | None, weights: str | None, history_file: Path | None
) -> tuple[str | None, Sequence[PastPiece], Sequence[PastPiece]]:
    """Return the cook's name, the pieces asked for, and all past pieces with them."""
    from pitlogger.errors import UsageError
    from pitlogger.formats.written_mass import parse_weights
    from pitlogger.yields.records import from_weights

    if cook is not None and weights is not None:
        raise UsageError("give a COOK or --weights, not both")
    if weights is not None:
        piece = from_weights(parse_weights(weights), cut or "other")
        told = past_cooks(history_file).pieces if history_file else ()
        return None, [piece], [*told, piece]
    if cook is None and cut is None and history_file is None:
        raise UsageError("nothing asked: give a COOK, --cut CUT, --history FILE or --weights LIST")
    past = _past(history_file)
    if cook is not None:
        chosen = [piece for piece in past if piece.cook == cook]
        if not chosen:
            raise UsageError(_no_such_cook(cook, past))
        return cook, chosen, past
    return None, [piece for piece in past if cut is None or piece.cut == cut], past


def _past(history_file: Path | None) -> Sequence[PastPiece]:
    if history_file is not None:
        return past_cooks(history_file).pieces
    from pitlogger.yields.books import from_books

    return from_books(books_on_record()).pieces()


def _no_such_cook(cook: str, past: Sequence[PastPiece]) -> str:
    from pitlogger.errors import unknown

    names = list(dict.fromkeys(piece.cook for piece in past))
    if names:
        return unknown("cook", cook, names)
    return f"no cook '{cook}' counts: none is on record, or it was withdrawn"


def _text(document: dict[str, Any], cut: str, unit: str) -> str:
    parts = [_piece_text(piece, unit) for piece in document["pieces"]]
    parts += [_plant_text(judged) for judged in document.get("plant", ())]
    learned = document["learned"]
    basis = f"{learned['n']} on record" if learned["n"] else "none on record, published prior alone"
    parts.append(
        f"Next {cut}: {100 * learned['median']:.1f} % servable of purchased, "
        f"80 in 100 between {100 * learned['p10']:.1f} and {100 * learned['p90']:.1f} % ({basis})."
    )
    return "\n\n".join(parts)


def _piece_text(piece: dict[str, Any], unit: str) -> str:
    from pitlogger.model.quantities import show_mass
    from pitlogger.views.doubts import as_read

    def mass(mass_g: float) -> str:
        return show_mass(mass_g * 1000, unit)

    lines = [f"{piece['piece']} ({piece['cut']})"]
    rows = [(s["to"], s["to_g"], s["change_g"], s["ratio"]) for s in piece["steps"]]
    if piece["steps"]:
        first = piece["steps"][0]
        top = first["from_g"]
        lines.append(_stair(first["from"], top, top, mass(top)))
        lines += [
            f"{_stair(to, to_g, top, mass(to_g))}  {_signed(mass(change)):>13}"
            f"  {100 * ratio:.1f} % of the step before"
            for to, to_g, change, ratio in rows
        ]
    if piece["servable_pct"] is not None:
        lines.append(
            f"servable {mass(piece['servable_g'])}: {piece['servable_pct']:.1f} % of "
            f"purchased (u {piece['u_servable_pct']:.2f})"
        )
    else:
        thrown = "discarded" in piece["loss_by_cause_g"]
        lines.append(f"no servable yield: {'it was discarded' if thrown else _not_weighed(piece)}")
    causes = ", ".join(f"{k} {mass(g)}" for k, g in piece["loss_by_cause_g"].items())
    if causes:
        why = f" ({piece['discarded_why']})" if piece["discarded_why"] else ""
        lines.append(f"lost (gained if negative): {causes}{why}")
    lines += [f"? {as_read(doubt['message'], unit)}" for doubt in piece["doubts"]]
    return "\n".join(lines)


def _not_weighed(piece: dict[str, Any]) -> str:
    """Return which of the two masses of the servable yield is missing."""
    missing = [] if piece["purchased_g"] is not None else ["as purchased"]
    if piece["servable_g"] is None:
        missing.append("carved (or rested)")
    return f"it was not weighed {', and not '.join(missing)}"


def _signed(mass: str) -> str:
    return mass if mass.startswith("-") else f"+{mass}"


def _stair(checkpoint: str, mass_g: float, top_g: float, shown: str) -> str:
    length = max(1, min(_BAR, round(_BAR * mass_g / top_g))) if top_g > 0 else 1
    return f"{checkpoint:<12} {'#' * length:<{_BAR}} {shown:>13}"


def _plant_text(judged: dict[str, Any]) -> str:
    verdict = {True: "limit met", False: "limit not met", None: "not shown"}[judged["met"]]
    share = judged["cooked_pct_of_fresh"]
    shown = "" if share is None else f", {share:.1f} % of at most {judged['limit_pct']:.0f} %"
    return f"{judged['piece']}: {verdict}{shown} ({judged['source']}; {judged['reason']})"
