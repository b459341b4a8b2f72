"""Size and make-up of every cut: the figures of meat.toml."""

from __future__ import annotations

from dataclasses import dataclass

from pitlogger.errors import UsageError, unknown
from pitlogger.model.cooks import CUTS
from pitlogger_simulators.plant.properties import TABLES, Composition


@dataclass(frozen=True, slots=True)
class BodyShape:
    """A body of meat: half thickness, exposed surface, make-up."""

    half_thickness_m: float
    area_m2: float
    composition: Composition


@dataclass(frozen=True, slots=True)
class Cut:
    """A cut at its usual mass, and how size follows mass (``size ~ mass ** exponent``)."""

    mass_g: float
    half_thickness_m: float
    area_m2: float
    composition: Composition
    thickness_exponent: float

    def shape(
        self, mass_g: float, thickness_mm: float | None = None, fat_fraction: float | None = None
    ) -> BodyShape:
        """Return the body of one piece; thickness changes the shape, not the surface."""
        ratio = mass_g / self.mass_g
        half = self.half_thickness_m * ratio**self.thickness_exponent
        area = self.area_m2 * ratio ** (0.94 - self.thickness_exponent)
        if thickness_mm is not None:
            half = thickness_mm / 2000.0
        made_of = self.composition
        return BodyShape(
            half, area, made_of if fat_fraction is None else with_fat(made_of, fat_fraction)
        )


def with_fat(composition: Composition, fat: float) -> Composition:
    """Return the same lean and bone with another share of fat."""
    rest = (1.0 - fat) / (1.0 - composition.fat)
    return Composition(
        composition.water * rest,
        composition.protein * rest,
        fat,
        composition.ash * rest,
        composition.carbohydrate * rest,
        composition.fibre * rest,
    )


def _with_bone(meat: Composition, bone: float) -> Composition:
    rest = 1.0 - bone
    return Composition(
        meat.water * rest, meat.protein * rest, meat.fat * rest, meat.ash * rest + bone
    )


def _cut(meat: str, bone: float = 0.0, exponent: float = 1 / 3, **size: float) -> Cut:
    made_of = _with_bone(Composition(**TABLES["meat"][meat]), bone)
    return Cut(composition=made_of, thickness_exponent=exponent, **size)


CUT_SHAPES = {name: _cut(**row) for name, row in TABLES["cuts"].items()}


@dataclass(frozen=True, slots=True)
class PieceSpec:
    """A piece of meat as it goes on the pit.

    Attributes:
        cut: One of ``pitlogger.model.cooks.CUTS``.
        mass_g: Trimmed mass, of all together where ``count`` is above one; ``None`` takes
            the usual mass of the cut.
        thickness_mm: At the thickest place; ``None`` takes what the mass suggests.
        fat_fraction: Share of fat, 0 to 0.7; ``None`` takes that of the cut.
        start_c: Temperature when it goes on.
        count: How many like pieces, for chicken halves and sausages.
        body: A shape of one's own in place of that of the cut.
    """

    cut: str = "brisket-packer"
    mass_g: float | None = None
    thickness_mm: float | None = None
    fat_fraction: float | None = None
    start_c: float = 4.0
    count: int = 1
    body: BodyShape | None = None

    def __post_init__(self) -> None:
        if self.cut not in CUTS:
            raise UsageError(unknown("cut", self.cut, CUTS))
        for name, value, low, high, unit in (
            ("mass", self.mass_g, 10.0, 200_000.0, "g"),
            ("thickness", self.thickness_mm, 5.0, 400.0, "mm"),
            ("fat fraction", self.fat_fraction, 0.0, 0.7, "(a share)"),
            ("start temperature", self.start_c, -1.0, 95.0, "C"),
            ("count", self.count, 1, 10_000, "(pieces)"),
        ):
            if value is not None and not low <= value <= high:
                raise UsageError(
                    f"{name} {value:g} of a {self.cut}: expected {low:g} to {high:g} {unit}"
                )

    @property
    def unit_mass_g(self) -> float:
        """Mass of one of ``count`` pieces."""
        if self.mass_g is None:
            return CUT_SHAPES[self.cut].mass_g
        return self.mass_g / self.count

    def shape(self) -> BodyShape:
        """Return the body of one of ``count`` pieces."""
        if self.body is not None:
            return self.body
        cut = CUT_SHAPES[self.cut]
        return cut.shape(self.unit_mass_g, self.thickness_mm, self.fat_fraction)
