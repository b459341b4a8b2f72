"""Code 128 as bars, for scanners that read lines alone.

Source: ISO/IEC 15417: symbol characters of three bars and three spaces, code set B (ASCII 32
to 126), check character modulo 103, stop 2331112; quiet zones of ten modules.
"""

from __future__ import annotations

from pitlogger.errors import UsageError

_WIDTHS = (  # noqa: SIM905
    "212222 222122 222221 121223 121322 131222 122213 122312 132212 221213 221312 231212 112232 "
    "122132 122231 113222 123122 123221 223211 221132 221231 213212 223112 312131 311222 321122 "
    "321221 312212 322112 322211 212123 212321 232121 111323 131123 131321 112313 132113 132311 "
    "211313 231113 231311 112133 112331 132131 113123 113321 133121 313121 211331 231131 213113 "
    "213311 213131 311123 311321 331121 312113 312311 332111 314111 221411 431111 111224 111422 "
    "121124 121421 141122 141221 112214 112412 122114 122411 142112 142211 241211 221114 413111 "
    "241112 134111 111242 121142 121241 114212 124112 124211 411212 421112 421211 212141 214121 "
    "412121 111143 111341 131141 114113 114311 411113 411311 113141 114131 311141 411131"
).split()
_START_B, _START, _STOP = 104, "211214", "2331112"
QUIET = 10  # modules
LONGEST = 32  # characters: wider than any label otherwise


def fits(text: str) -> bool:
    """Tell whether a text can be written in code set B on a label."""
    return 0 < len(text) <= LONGEST and all(" " <= char <= "~" for char in text)


def widths(text: str) -> str:
    """Return the widths of bars and spaces in turn, a digit each, in modules.

    Raises:
        UsageError: Characters that code set B lacks, or too many.
    """
    if not fits(text):
        raise UsageError(f"'{text}' does not fit Code 128: up to {LONGEST} ASCII characters do")
    values = [ord(char) - 32 for char in text]
    check = (_START_B + sum(at * value for at, value in enumerate(values, 1))) % 103
    return "".join((_START, *(_WIDTHS[value] for value in (*values, check)), _STOP))


def code128_svg(text: str, module_mm: float = 0.33, height_mm: float = 12.0) -> str:
    """Return the bars of a text as SVG, with their quiet zones."""
    at, bars = QUIET, []
    for number, width in enumerate(map(int, widths(text))):
        if number % 2 == 0:
            bars.append(f"M{at} 0h{width}v10h-{width}z")
        at += width
    whole = at + QUIET
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{whole * module_mm:.2f}mm" '
        f'height="{height_mm:g}mm" viewBox="0 0 {whole} 10" preserveAspectRatio="none" '
        f'shape-rendering="crispEdges"><path fill="#000" d="{"".join(bars)}"/></svg>'
    )
