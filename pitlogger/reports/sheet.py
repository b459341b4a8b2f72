"""A printed sheet as plain values: what it says, not how it looks."""

from __future__ import annotations

from dataclasses import dataclass, field

from pitlogger.views.language import mark, tr

# What every sheet that speaks of food safety says at its foot.
CAUTIONS = (
    mark("pitlogger is a record and a reminder. Limits differ by edition and place."),
    mark("The local code and the licensed or certified person decide."),
    mark("A calibrated probe in the coldest spot is the measure."),
    mark("Doubtful food is thrown away."),
)
Cell = str


@dataclass(frozen=True, slots=True)
class Heading:
    text: str


@dataclass(frozen=True, slots=True)
class Facts:
    """Names and what they are, side by side."""

    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of text under heads.

    Attributes:
        struck: Numbers of the rows that are struck out, from 0; they stay legible.
        numbers: Numbers of the columns that hold figures, from 0: set to the right.
        blank: How many empty lines follow, to be written in by hand.
    """

    heads: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    caption: str = ""
    struck: frozenset[int] = frozenset()
    numbers: frozenset[int] = frozenset()
    blank: int = 0


@dataclass(frozen=True, slots=True)
class Picture:
    """An SVG document, and the same in words for those who cannot see it."""

    svg: str
    described: str
    width_mm: int = 186


@dataclass(frozen=True, slots=True)
class Lines:
    """Sentences, each on a line of its own."""

    texts: tuple[str, ...]
    big: bool = False


Block = Heading | Facts | Table | Picture | Lines


@dataclass(frozen=True, slots=True)
class Sheet:
    """One document.

    Attributes:
        title: What it is.
        about: Where, when, of whom: one line under the title.
        cautions: At the foot of every page.
        made: When and by what it was made.
        small: Set small, so that much fits a page.
    """

    title: str
    about: str = ""
    blocks: tuple[Block, ...] = field(default=())
    cautions: tuple[str, ...] = ()
    made: str = ""
    small: bool = False

    @property
    def foot(self) -> tuple[str, ...]:
        """The lines at its foot: run together where it is set small."""
        lines = (*map(tr, self.cautions), *([self.made] if self.made else []))
        return (" ".join(lines),) if self.small and lines else lines
