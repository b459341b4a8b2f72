"""Time and temperature tables of cooking, and which one a piece is judged by.

Rules are compared in degrees Fahrenheit as printed. A limit in milli-degrees Celsius is
met from 5 mC below, because 130 F is sent as 54.44 C by a device with two decimals.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

from pitlogger.model.quantities import milli_c_from_fahrenheit
from pitlogger.safety import shipped

ROUNDING_MC = 5
_MEAT = {"fsis-meat-5log": "5log", "fsis-meat-6.5log": "6_5log", "fsis-meat-7log": "7log"}
_FAT_MAX_PCT = 12  # "use the 12 % column when fat is higher or unknown", FSIS-GD-2021 p. 39


@dataclass(frozen=True, slots=True)
class HoldRow:
    """``seconds`` at or above ``temp_f``; 0 where reaching it is enough."""

    temp_f: float
    seconds: float

    @property
    def limit_mc(self) -> int:
        return milli_c_from_fahrenheit(self.temp_f) - ROUNDING_MC


@dataclass(frozen=True, slots=True)
class HoldTable:
    """A table of rows in rising temperature; meeting any one row meets the table."""

    id: str
    rows: tuple[HoldRow, ...]
    source: str
    target_log10: float | None = None


@cache
def hold_table(table_id: str, species: str = "", fat_pct: float | None = None) -> HoldTable:
    """Return a table by its id.

    Args:
        table_id: One of ``pitlogger.safety.policy.COOK_TABLES``.
        species: ``chicken`` or ``turkey`` for the poultry table; anything else takes the
            longer time of the two.
        fat_pct: Fat share of the poultry, percent; the 12 % column where it is not known.

    Source: FSIS-GD-2021, Cooking Guideline (Revised Appendix A), Tables 2 to 4 and p. 39;
    FDA Food Code 3-401.11; 9 CFR 318.23(b)(1).
    """
    if table_id in _MEAT:
        column = _MEAT[table_id]
        listed = shipped.rows("fsis_appendix_a_meat.csv")
        held = [HoldRow(float(r["temp_f"]), float(r[f"seconds_{column}"])) for r in listed]
        target = float(column.removesuffix("log").replace("_", "."))
        return HoldTable(
            table_id, tuple(held), f"FSIS-GD-2021 Table 2, {target:g} log", target_log10=target
        )
    if table_id == "fsis-poultry-7log":
        return _poultry(species, fat_pct)
    listed = tuple(r for r in shipped.rows("cook_minimums.csv") if r["table_id"] == table_id)
    if not listed:
        raise KeyError(table_id)
    held = [HoldRow(float(r["temp_f"]), float(r["seconds"])) for r in listed]
    memory = ", from memory" if any(r["mark"] == "memory" for r in listed) else ""
    return HoldTable(table_id, tuple(held), listed[0]["source"] + memory)


def _poultry(species: str, fat_pct: float | None) -> HoldTable:
    columns = _fat_columns(fat_pct)
    kinds = (species,) if species in ("chicken", "turkey") else ("chicken", "turkey")
    longest: dict[float, float] = {}
    for row in shipped.rows("fsis_poultry_lethality_7log.csv"):
        if row["species"] in kinds and int(row["fat_pct"]) in columns:
            temp_f = float(row["temp_f"])
            longest[temp_f] = max(longest.get(temp_f, 0.0), float(row["seconds"]))
    held = tuple(HoldRow(temp_f, longest[temp_f]) for temp_f in sorted(longest))
    kind = kinds[0] if len(kinds) == 1 else "poultry"
    table_id = f"fsis-{kind}-7log-{max(columns)}pct"
    table = {"chicken": "Table 3", "turkey": "Table 4"}.get(kind, "Tables 3 and 4, the longer")
    return HoldTable(table_id, held, f"FSIS-GD-2021 {table}, 7 log", target_log10=7.0)


def _fat_columns(fat_pct: float | None) -> tuple[int, ...]:
    """Return the columns a fat share lies between: the longer of the two is used."""
    if fat_pct is None or fat_pct > _FAT_MAX_PCT:
        return (_FAT_MAX_PCT,)
    low = max(1, math.floor(fat_pct))
    return tuple(sorted({low, max(1, math.ceil(fat_pct))}))
