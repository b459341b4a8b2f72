"""The book: what undo, correction, split and moved probes amount to."""

from pitlogger.model.book import Book
from pitlogger.model.cooks import Channel, Cook, Piece, Stage
from pitlogger.model.folding import fold
from pitlogger.model.journal import (
    Body,
    ChannelAssigned,
    CookStarted,
    Corrected,
    Entry,
    PiecesMerged,
    PieceSplit,
    StageSet,
    TargetSet,
    Undone,
    Weighed,
)
from pitlogger.model.readings import Site

COOK = Cook("supper", (Piece("b", "brisket-packer"), Piece("c", "pork-butt")))


def book(*bodies: Body) -> Book:
    listed = [CookStarted(COOK), *bodies]
    return fold([Entry("r", seq, seq * 1000, body) for seq, body in enumerate(listed, start=1)])


def weighed(checkpoint: str, grams: int) -> Weighed:
    return Weighed("b", checkpoint, grams * 1000, 0, 5000)


def test_the_last_weighing_of_a_checkpoint_counts() -> None:
    told = book(weighed("trimmed", 5000), weighed("trimmed", 5100))
    assert told.pieces["b"].net_mg("trimmed") == 5_100_000
    assert told.pieces["b"].net_mg("rested") is None


def test_an_undone_weighing_does_not_count_and_an_undone_undo_brings_it_back() -> None:
    taken_back = (weighed("trimmed", 5000), Undone("r", 2))
    assert book(*taken_back).pieces["b"].net_mg("trimmed") is None
    assert book(*taken_back, Undone("r", 3)).pieces["b"].net_mg("trimmed") == 5_000_000


def test_a_correction_counts_in_place_of_the_entry_and_can_be_undone() -> None:
    corrected = (weighed("trimmed", 5000), Corrected("r", 2, weighed("trimmed", 4500)))
    told = book(*corrected).pieces["b"]
    assert told.net_mg("trimmed") == 4_500_000
    assert [weighing.corrected for weighing in told.weighings] == [True]
    assert book(*corrected, Undone("r", 3)).pieces["b"].net_mg("trimmed") == 5_000_000


def test_a_stage_set_in_the_past_re_tags_what_lies_between() -> None:
    told = book(StageSet("b", Stage.RESTING, 9000), StageSet("b", Stage.WRAPPED, 4000))
    piece = told.pieces["b"]
    assert piece.stage is Stage.RESTING
    assert piece.stage_at(5000) is Stage.WRAPPED
    assert [(span.stage, span.from_ms, span.to_ms) for span in piece.spans()] == [
        (Stage.WRAPPED, 4000, 9000),
        (Stage.RESTING, 9000, None),
    ]


def test_a_repeated_stage_is_one_span() -> None:
    told = book(StageSet("b", Stage.SMOKING, 4000), StageSet("b", Stage.SMOKING, 5000))
    assert len(told.pieces["b"].spans()) == 1


def test_children_begin_at_the_stage_of_their_parent_which_ends() -> None:
    told = book(
        StageSet("b", Stage.RESTING, 2000), PieceSplit("b", (Piece("b-point"), Piece("b-flat")))
    )
    assert told.pieces["b"].ended_ms == 3000
    assert told.pieces["b"].children == ("b-point", "b-flat")
    assert told.pieces["b-point"].stage is Stage.RESTING
    assert told.pieces["b-flat"].piece.parents == ("b",)


def test_a_merge_ends_all_its_parents() -> None:
    told = book(PiecesMerged(("b", "c"), Piece("pool")))
    assert told.pieces["pool"].piece.parents == ("b", "c")
    assert all(told.pieces[parent].ended_ms == 2000 for parent in ("b", "c"))


def test_an_old_assignment_stays_on_record() -> None:
    told = book(
        ChannelAssigned(Channel("p1", Site.CORE, "b")), ChannelAssigned(Channel("p1", Site.PIT))
    )
    assert [held.channel.site for held in told.channels["p1"]] == [Site.CORE, Site.PIT]
    then = told.assignment("p1", 2500)
    now = told.assignment("p1")
    assert then is not None
    assert now is not None
    assert (then.channel.site, now.channel.site) == (Site.CORE, Site.PIT)
    assert told.cores("b", 2500) == ["p1"]
    assert told.cores("b") == []


def test_the_first_core_named_leads_until_another_is_made_lead() -> None:
    told = book(
        ChannelAssigned(Channel("p1", Site.CORE, "b")),
        ChannelAssigned(Channel("p2", Site.CORE, "b")),
    )
    assert told.cores("b") == ["p1", "p2"]
    told = book(
        ChannelAssigned(Channel("p1", Site.CORE, "b")),
        ChannelAssigned(Channel("p2", Site.CORE, "b"), lead=True),
    )
    assert told.cores("b") == ["p2", "p1"]


def test_targets_set_later_count() -> None:
    told = book(TargetSet("b", pull_at_mc=96_000))
    assert told.pieces["b"].piece.pull_at_mc == 96_000
    assert told.pieces["b"].piece.wrap_at_mc is None


def test_a_piece_taken_out_of_its_wrap_is_not_wrapped() -> None:
    told = book(StageSet("b", Stage.WRAPPED, 2000, "foil"))
    assert told.pieces["b"].wrap == "foil"
    told = book(StageSet("b", Stage.WRAPPED, 2000, "foil"), StageSet("b", Stage.SMOKING, 3000))
    assert told.pieces["b"].wrap is None


def test_parts_begin_in_the_stage_of_the_whole_however_late_that_was_marked() -> None:
    parts = PieceSplit("b", (Piece("point"), Piece("flat")))
    late = (StageSet("b", Stage.RESTING, 1500), StageSet("b", Stage.SMOKING, 1000), parts)
    after = (StageSet("b", Stage.SMOKING, 1000), parts, StageSet("b", Stage.RESTING, 1500))
    for told in (book(*late), book(*after)):
        assert [told.pieces[name].stage for name in ("point", "flat")] == [Stage.RESTING] * 2
    deeper = book(*late, PieceSplit("flat", (Piece("end"),)))
    assert deeper.pieces["end"].stage is Stage.RESTING
    undone = book(StageSet("b", Stage.SMOKING, 1000), parts, Undone("r", 2))
    assert undone.pieces["flat"].marks == []
