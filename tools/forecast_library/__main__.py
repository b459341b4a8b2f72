"""``python -m tools.forecast_library [--check]``: build or compare the library."""

from __future__ import annotations

import sys
import time

import click

from pitlogger.forecast.library import library, unpack
from tools.forecast_library.build import Recipe, build, difference, write

AGREE = 0.03  # log hours: rounding elsewhere moves 0.01, another seed 0.3 (largest, measured)


@click.command()
@click.option("--check", is_flag=True, help="Build anew and compare with what is shipped.")
@click.option("--seed", default=1, show_default=True, help="Seed of the recipe.")
def main(check: bool, seed: int) -> None:
    """Build the forecast library from simulated cooks; takes a quarter of an hour."""
    began = time.monotonic()
    data = build(Recipe(seed=seed))
    took = time.monotonic() - began
    if not check:
        click.echo(f"{len(data)} bytes in {took:.0f} s, sha256 {write(data)}")
        return
    off = difference(unpack(data), library())
    click.echo(f"largest difference {off:.2g} log hours in {took:.0f} s")
    if off > AGREE:
        click.echo("the shipped library is not what the recipe makes: build it again", err=True)
        sys.exit(1)


if __name__ == "__main__":
    main()
