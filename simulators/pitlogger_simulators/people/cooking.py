"""What is done to the meat, from the block to the plate."""

from __future__ import annotations

from pitlogger.model import journal
from pitlogger.model.cooks import Checkpoint, Piece, Stage, Wrap
from pitlogger_simulators.people.hand import Hand
from pitlogger_simulators.people.probing import insert_all
from pitlogger_simulators.people.verbs import Activity, Amount

HAND_PROBE_STEP_C = 0.1
HAND_PROBE_SD_C = 0.3
_STAGE_OF_PLACE = {
    "box": Stage.HOLDING,
    "cabinet": Stage.HOLDING,
    "transport": Stage.IN_TRANSIT,
    "counter": Stage.RESTING,
    "rest": Stage.RESTING,
    "line": Stage.SERVING,
    "oven": Stage.REHEATING,
}


def trim(hand: Hand, piece: str, amount: Amount) -> Activity:
    """Trim fat and silver skin; what comes off can be weighed as trim-fat."""
    yield hand.about(600.0)
    off_g = amount.of(hand.kitchen.mass_g(piece))
    hand.kitchen.take_off(piece, off_g, "trim-fat")
    hand.say(journal.StageSet(piece, Stage.TRIMMED, hand.now_ms))
    hand.tell(f"trims {off_g / 1000:.2f} kg off", piece)


def season(hand: Hand, piece: str, amount: Amount) -> Activity:
    """Put rub on."""
    yield hand.about(240.0)
    rub_g = amount.of(hand.kitchen.mass_g(piece))
    hand.kitchen.piece(piece).rub_g += rub_g
    hand.say(journal.Weighed(piece, "rub", round(rub_g * 1000), 0, hand.now_ms))
    hand.say(journal.StageSet(piece, Stage.SEASONED, hand.now_ms))
    hand.tell(f"seasons it with {rub_g:.0f} g", piece)


def put_on(hand: Hand, piece: str, pit: str = "pit", forgotten: tuple[str, ...] = ()) -> Activity:
    """Put a piece on the pit with its probes in it, but for those left out."""
    hand.kitchen.open_lid(pit, 60.0)
    yield hand.about(40.0)
    hand.kitchen.put_on(piece, pit)
    insert_all(hand, piece, forgotten)
    hand.say(journal.StageSet(piece, Stage.SMOKING, hand.now_ms))
    hand.tell(f"puts it on '{pit}'", piece)
    yield 10.0


def wrap(hand: Hand, piece: str, kind: Wrap) -> Activity:
    """Wrap a piece and put it back."""
    pit = hand.kitchen.piece(piece).pit
    if pit is not None:
        hand.kitchen.open_lid(pit, 45.0)
        hand.kitchen.lift(piece)
    yield hand.about(90.0)
    hand.kitchen.settle()
    hand.kitchen.smoker.wrap(piece, kind)
    if pit is not None:
        hand.kitchen.put_on(piece, pit)
    hand.say(journal.StageSet(piece, Stage.WRAPPED, hand.now_ms, wrap=kind))
    hand.tell(f"wraps it ({kind})", piece)


def unwrap(hand: Hand, piece: str) -> Activity:
    """Open the wrap for good; the juice in it goes."""
    yield hand.about(60.0)
    hand.kitchen.settle()
    hand.kitchen.smoker.unwrap(piece)
    hand.tell("unwraps it", piece)


def vent(hand: Hand, piece: str) -> Activity:
    """Fold a foil wrap open to stop the cooking; the juice stays."""
    yield hand.about(30.0)
    hand.kitchen.settle()
    hand.kitchen.smoker.vent(piece)
    hand.tell("opens its wrap a little", piece)


def cover(hand: Hand, piece: str) -> Activity:
    """Put a lid of foil over it, so that it does not dry while it waits."""
    yield hand.about(20.0)
    hand.kitchen.settle()
    hand.kitchen.smoker.wrap(piece, "pan")
    hand.tell("covers it", piece)


def cube(hand: Hand, piece: str) -> Activity:
    """Cut a piece into loose cubes; it stays in its stage."""
    yield hand.about(300.0)
    hand.kitchen.carve(piece, hand.kitchen.smoker.cube)
    hand.tell("cuts it into cubes", piece)


def pull(hand: Hand, piece: str, place: str = "counter") -> Activity:
    """Take a piece off the pit to rest, wrapped as it is."""
    pit = hand.kitchen.piece(piece).pit
    if pit is not None:
        hand.kitchen.open_lid(pit, 30.0)
    yield hand.about(45.0)
    hand.kitchen.place(piece, place)
    hand.say(journal.StageSet(piece, Stage.RESTING, hand.now_ms))
    hand.tell("takes it off the pit", piece)


def move(hand: Hand, piece: str, place: str, stage: str | None = None) -> Activity:
    """Move a piece to a place; the stage is that of the place, unless one is named."""
    yield hand.about(45.0)
    hand.kitchen.place(piece, place)
    told = Stage(stage) if stage else _STAGE_OF_PLACE.get(place, Stage.COOLING)
    hand.say(journal.StageSet(piece, told, hand.now_ms))
    hand.tell(f"moves it: {place} ({told})", piece)


def tell_stage(hand: Hand, piece: str, stage: str, ago: float = 0.0) -> Activity:
    """Tell a stage, perhaps late: nothing is done to the meat."""
    yield hand.about(10.0)
    hand.say(journal.StageSet(piece, Stage(stage), hand.now_ms - round(ago * 1000)))
    hand.tell(f"tells stage {stage}", piece)


def carve(hand: Hand, piece: str) -> Activity:
    """Slice a piece."""
    yield hand.about(420.0)
    hand.kitchen.carve(piece, hand.kitchen.smoker.slice)
    hand.say(journal.StageSet(piece, Stage.CARVED, hand.now_ms))
    hand.tell("slices it", piece)


def shred(hand: Hand, piece: str, bone: Amount = Amount(share=0.0)) -> Activity:  # noqa: B008
    """Shred a piece; the bone can be weighed as a by-product."""
    yield hand.about(600.0)
    bone_g = bone.of(hand.kitchen.mass_g(piece))
    hand.kitchen.carve(piece, hand.kitchen.smoker.shred)
    meat = hand.kitchen.piece(piece)
    if bone_g:
        meat.by_products["bone"] = bone_g
        meat.kept *= 1.0 - bone_g / hand.kitchen.mass_g(piece)
    hand.say(journal.StageSet(piece, Stage.CARVED, hand.now_ms))
    hand.tell("shreds it", piece)


def split(hand: Hand, piece: str, shares: dict[str, float]) -> Activity:
    """Cut a piece into named ones."""
    yield hand.about(180.0)
    hand.kitchen.split(piece, shares)
    hand.say(journal.PieceSplit(piece, tuple(Piece(child) for child in shares)))
    hand.tell(f"cuts it into {', '.join(shares)}", piece)


def pool(hand: Hand, pieces: tuple[str, ...], child: str) -> Activity:
    """Put several pieces together as one."""
    yield hand.about(120.0)
    hand.kitchen.pool(pieces, child)
    hand.say(journal.PiecesMerged(pieces, Piece(child)))
    hand.tell(f"puts {', '.join(pieces)} together", child)


def serve(hand: Hand, piece: str, share: Amount) -> Activity:
    """Serve a share of a piece; the rest is left over."""
    yield hand.about(480.0)
    served_g = share.of(hand.kitchen.mass_g(piece))
    hand.say(journal.Weighed(piece, Checkpoint.SERVED, round(served_g * 1000), 0, hand.now_ms))
    hand.kitchen.eat(piece, served_g / max(hand.kitchen.mass_g(piece), 1.0))
    hand.say(journal.StageSet(piece, Stage.SERVED, hand.now_ms))
    hand.tell(f"serves {served_g / 1000:.2f} kg", piece)


def discard(hand: Hand, piece: str) -> Activity:
    """Throw a piece away."""
    yield hand.about(60.0)
    hand.say(journal.StageSet(piece, Stage.DISCARDED, hand.now_ms))
    hand.tell("throws it away", piece)


def take_temp(hand: Hand, piece: str) -> Activity:
    """Measure the core with a hand probe and enter it."""
    yield hand.about(25.0)
    true_c = hand.kitchen.core_c(piece) + hand.rng.gauss(0.0, HAND_PROBE_SD_C)
    shown_c = round(true_c / HAND_PROBE_STEP_C) * HAND_PROBE_STEP_C
    hand.say(journal.SpotRead(round(shown_c * 1000), hand.now_ms, piece=piece, probe="hand"))
    hand.tell(f"measures {shown_c:.1f} C by hand", piece)


def answer(hand: Hand, piece: str, disposition: str, cause: str) -> Activity:
    """Write corrective action for food that fell below the hot-holding limit."""
    yield hand.about(60.0)
    hand.say(
        journal.CorrectiveTaken(
            piece, cause, "measured by hand, heated through again and measured again",
            "moved to the cabinet as soon as it has rested", disposition,
            alert=f"hot-hold-low/{piece}",
        )
    )  # fmt: skip
    hand.tell(f"writes corrective action: {disposition}", piece)


def note(hand: Hand, text: str) -> Activity:
    """Write a note."""
    yield hand.about(15.0)
    hand.say(journal.Noted(text))
    hand.tell(f"notes: {text}")
