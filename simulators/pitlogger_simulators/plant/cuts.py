"""Size and make-up of every cut.

Compositions are of the trimmed raw piece, rounded by us to 5 g/kg steps from the kind of
values food composition tables give (from memory), bone counted as ash that neither dries
nor melts. Sizes are ours: chosen so that a usual piece of the usual mass has the length,
width and thickness one sees on a board. No published table of such sizes was found.
"""

from __future__ import annotations

from dataclasses import dataclass

from pitlogger.errors import UsageError, unknown
from pitlogger.model.cooks import CUTS
from pitlogger_simulators.plant.properties import Composition


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
    thickness_exponent: float = 1 / 3

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


_BRISKET = Composition(water=0.65, protein=0.19, fat=0.15, ash=0.01)
_FLAT = Composition(water=0.69, protein=0.205, fat=0.095, ash=0.01)
_POINT = Composition(water=0.60, protein=0.175, fat=0.215, ash=0.01)
_SHOULDER = Composition(water=0.655, protein=0.175, fat=0.16, ash=0.01)
_BELLY = Composition(water=0.37, protein=0.095, fat=0.53, ash=0.005)
_RIB_MEAT = Composition(water=0.595, protein=0.155, fat=0.24, ash=0.01)
_LOIN_RIB = Composition(water=0.635, protein=0.185, fat=0.17, ash=0.01)
_BEEF_RIB = Composition(water=0.56, protein=0.165, fat=0.265, ash=0.01)
_CHUCK = Composition(water=0.66, protein=0.19, fat=0.14, ash=0.01)
_TRI_TIP = Composition(water=0.69, protein=0.21, fat=0.09, ash=0.01)
_CHICKEN = Composition(water=0.66, protein=0.185, fat=0.145, ash=0.01)
_TURKEY = Composition(water=0.705, protein=0.205, fat=0.08, ash=0.01)
_TURKEY_BREAST = Composition(water=0.725, protein=0.22, fat=0.045, ash=0.01)
_LAMB = Composition(water=0.61, protein=0.165, fat=0.215, ash=0.01)
_SAUSAGE = Composition(water=0.57, protein=0.155, fat=0.255, ash=0.02)

CUT_SHAPES: dict[str, Cut] = {
    "brisket-packer": Cut(3900, 0.034, 0.141, _BRISKET, 0.28),
    "brisket-flat": Cut(2000, 0.023, 0.104, _FLAT, 0.28),
    "brisket-point": Cut(1900, 0.032, 0.076, _POINT, 0.28),
    "burnt-ends": Cut(40, 0.016, 0.0068, _POINT),
    "pork-butt": Cut(3600, 0.074, 0.152, _SHOULDER),
    "pork-picnic": Cut(3400, 0.072, 0.134, _with_bone(_SHOULDER, 0.17)),
    "pork-belly": Cut(2300, 0.020, 0.160, _BELLY, 0.2),
    "pork-spareribs": Cut(1700, 0.015, 0.120, _with_bone(_RIB_MEAT, 0.27), 0.1),
    "pork-st-louis": Cut(1200, 0.0142, 0.090, _with_bone(_RIB_MEAT, 0.24), 0.1),
    "pork-baby-back": Cut(900, 0.0125, 0.080, _with_bone(_LOIN_RIB, 0.27), 0.1),
    "beef-ribs": Cut(2500, 0.032, 0.115, _with_bone(_BEEF_RIB, 0.22), 0.2),
    "beef-chuck": Cut(1800, 0.048, 0.087, _CHUCK),
    "tri-tip": Cut(1000, 0.026, 0.068, _TRI_TIP),
    "chicken-whole": Cut(1800, 0.042, 0.110, _with_bone(_CHICKEN, 0.25)),
    "chicken-half": Cut(900, 0.026, 0.075, _with_bone(_CHICKEN, 0.25)),
    "chicken-quarter": Cut(350, 0.022, 0.036, _with_bone(_CHICKEN, 0.22)),
    "chicken-thigh": Cut(160, 0.017, 0.021, _with_bone(_CHICKEN, 0.17)),
    "turkey-whole": Cut(5500, 0.062, 0.230, _with_bone(_TURKEY, 0.22)),
    "turkey-breast": Cut(2300, 0.050, 0.100, _TURKEY_BREAST),
    "lamb-shoulder": Cut(2300, 0.042, 0.125, _with_bone(_LAMB, 0.20)),
    "sausage": Cut(110, 0.014, 0.0155, _SAUSAGE, 0.2),
    "other": Cut(2000, 0.045, 0.098, _CHUCK),
}


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
