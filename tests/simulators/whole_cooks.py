"""Whole cooks of the plant from start to end, one or many draws at once, for tests and pictures.

schedule = (
    PlantEvent("wrap", "paper", core_c=73.9),   # when the core has risen to 165 F
    PlantEvent("pull", core_c=95.0),            # off the pit, still wrapped, on a counter
    PlantEvent("place", "box", after_s=1800.0), # half an hour after the event before
)
run = simulate(PieceSpec("brisket-packer"), schedule=schedule, duration_s=14 * 3600, seed=1)
run.time_s, run.core_c, run.surface_c, run.pit_c, run.mass_g, run.juice_g   # one row a step
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from pitlogger.errors import UsageError
from pitlogger_simulators.plant.body import Body
from pitlogger_simulators.plant.boundary import PLACES, WRAPS, Boundary
from pitlogger_simulators.plant.cuts import PieceSpec
from pitlogger_simulators.plant.fire import Fire, Weather
from pitlogger_simulators.plant.live import LOADING_S
from pitlogger_simulators.plant.parameters import Parameters
from pitlogger_simulators.plant.pits import Pit
from pitlogger_simulators.plant.properties import Array, Mask
from tests.simulators.cook_events import PlantEvent, ScheduleProgress

DT_S = 30.0
_ON_PIT = 0
_PLACE_NAMES = ("pit", *PLACES)
_WRAP_NAMES = tuple(WRAPS)
_RECORDED = (
    "core_c",
    "surface_c",
    "pit_c",
    "air_c",
    "mass_g",
    "juice_g",
    "wrap_g",
    "evaporated_g",
    "dripped_g",
    "rendered_g",
    "collagen_index",
)


@dataclass(frozen=True, slots=True)
class Run:
    """A cook on record; arrays of shape (rows,), in a batch (rows, n).

    Attributes:
        time_s: Since the meat went on, shape (rows,).
        pit_c: Air of the pit; ``air_c`` is that where the piece lies.
        mass_g: Meat with its wet surface; juice kept in a wrap and the wrap are apart.
        evaporated_g, dripped_g, rendered_g: What has left the meat as vapour, juice, fat.
        event_s: When each event of the schedule came, NaN for never; (events,) or (events, n).
    """

    time_s: Array
    core_c: Array
    surface_c: Array
    pit_c: Array
    air_c: Array
    mass_g: Array
    juice_g: Array
    wrap_g: Array
    evaporated_g: Array
    dripped_g: Array
    rendered_g: Array
    collagen_index: Array
    event_s: Array

    @property
    def gross_g(self) -> Array:
        """What a scale shows: meat, wrap and the juice in it."""
        return self.mass_g + self.juice_g + self.wrap_g

    @property
    def loss(self) -> Array:
        """Share of the first mass that has left the meat, juice in a wrap included."""
        kept: Array = self.mass_g / self.mass_g[0]
        return 1.0 - kept

    def time_to_s(self, core_c: float) -> Array:
        """Return when the core first reached a temperature, NaN for never."""
        reached = self.core_c >= core_c
        first = np.argmax(reached, axis=0)
        return np.where(reached.any(axis=0), self.time_s[first], np.nan)

    def loss_at_s(self, time_s: Array | float) -> Array:
        """Return the loss at a time of each cook; NaN stays NaN."""
        known = np.nan_to_num(np.asarray(time_s, float), nan=0.0)
        row = np.searchsorted(self.time_s, known).clip(max=len(self.time_s) - 1)
        loss = self.loss[row] if self.loss.ndim == 1 else self.loss[row, np.arange(len(row))]
        return np.where(np.isnan(time_s), np.nan, loss)


class _Cooks:
    """n cooks in step, each with a pit of its own."""

    def __init__(
        self, body: Body, fire: Fire, schedule: Sequence[PlantEvent], weather: Weather
    ) -> None:
        n = len(body.core_c)
        self.body, self.fire, self.weather = body, fire, weather
        self.progress = ScheduleProgress(schedule, n)
        self._place = np.zeros(n, int)
        self._wrap = np.zeros(n, int)
        self._arrange()

    def _arrange(self) -> None:
        # Wrap factors and off-pit surroundings change only at events.
        layers = [WRAPS[_WRAP_NAMES[i]] for i in self._wrap]
        self._layer = {
            name: np.array([getattr(layer, name) for layer in layers])
            for name in ("convection", "radiation", "vapour", "retained", "mass_g")
        }
        self._on_pit = self._place == _ON_PIT
        self._all_on_pit = bool(self._on_pit.all())
        self._none_on_pit = not self._on_pit.any()
        still = [PLACES[_PLACE_NAMES[max(i, 1)]].boundary(self.weather.room_c) for i in self._place]
        self._off_pit = Boundary(
            **{
                field.name: np.array([float(getattr(b, field.name)) for b in still])
                for field in fields(Boundary)
            }
        )

    def boundary(self) -> Boundary:
        bare = self._off_pit if self._none_on_pit else self.fire.boundary()
        if not (self._all_on_pit or self._none_on_pit):
            bare = Boundary(
                **{
                    f.name: np.where(
                        self._on_pit, getattr(bare, f.name), getattr(self._off_pit, f.name)
                    )
                    for f in fields(Boundary)
                }
            )
        layer = self._layer
        return Boundary(
            bare.air_c,
            bare.wall_c,
            bare.humidity_ratio,
            bare.convection * layer["convection"],
            bare.emissivity * layer["radiation"],
            bare.vapour * layer["vapour"],
            layer["retained"],
            bare.pressure_pa,
        )

    def advance(self, time_s: float, dt_s: float) -> None:
        due = self.progress.due(time_s, self.body.core_c)
        for event, where in due:
            self._act(event, where)
        if due:
            self._arrange()
        self.body.step(dt_s, self.boundary())
        in_pit = np.where(self._on_pit, self.body.vapour_kg_s * self.body.count, 0.0)
        self.fire.advance(dt_s, in_pit, self.weather)

    def _act(self, event: PlantEvent, where: Mask) -> None:
        fire, value = self.fire, event.value
        match event.action:
            case "wrap":
                self._wrap[where] = _WRAP_NAMES.index(str(value))
            case "unwrap":
                self._wrap[where] = _WRAP_NAMES.index("none")
                self.body.release_juice(where)
            case "pull":
                self._place[where] = _PLACE_NAMES.index("counter")
            case "place":
                self._place[where] = _PLACE_NAMES.index(str(value))
            case "put-back":
                self._place[where] = _ON_PIT
            case "set-point":
                fire.set_point(float(value or 0.0), where)
            case "open-lid":
                fire.open_lid(float(value or 0.0), where)
            case "add-fuel":
                fire.add_fuel(where)
            case "fire-out":
                fire.go_out(where)
            case "relight":
                fire.relight(where)
            case "grease-fire":
                fire.flare_up(where)

    def row(self) -> list[Array]:
        body = self.body
        air_c = np.where(self._on_pit, self.fire.air_c, self._off_pit.air_c)
        return [
            body.core_c,
            body.surface_c,
            self.fire.air_c,
            air_c,
            body.mass_g,
            body.kept_g,
            self._layer["mass_g"] * body.count,
            body.evaporated_g,
            body.dripped_g,
            body.rendered_g,
            body.collagen_index,
        ]


def simulate_batch(
    spec: PieceSpec,
    n: int,
    *,
    parameters: Parameters | None = None,
    schedule: Sequence[PlantEvent] = (),
    pit: Pit | None = None,
    duration_s: float = 14 * 3600.0,
    dt_s: float = DT_S,
    seed: int = 0,
    weather: Weather | None = None,
    loading_s: float = LOADING_S,
    record_s: float | None = None,
) -> Run:
    """Cook n draws of one piece, each on a pit of its own.

    Args:
        spec: The piece.
        n: How many.
        parameters: Given or, with ``None``, drawn together with the pit's own.
        schedule: What happens, in order, the same for all.
        pit: The pit; charcoal at 238 F where none is given.
        duration_s: Length of the record.
        dt_s: Step, at most 60 s.
        seed: Same seed, same bytes.
        weather: Room and weather.
        loading_s: How long the lid is open while the meat goes on.
        record_s: Time between rows; every step where none is given.

    Returns:
        Arrays of shape (rows, n).

    Raises:
        UsageError: If step or duration make no sense.
    """
    if not 0.0 < dt_s <= 60.0:
        raise UsageError(f"step {dt_s:g} s: expected more than 0 and at most 60 s")
    if duration_s <= 0.0 or n < 1:
        raise UsageError(f"{n} cooks of {duration_s:g} s: expected at least 1, longer than 0 s")
    rng = np.random.default_rng(seed)
    outdoors = weather or Weather()
    stand = pit or Pit()
    if parameters is None:
        parameters, stand = Parameters.draw(rng, n), stand.draw(rng, n)
    body = Body(spec, parameters.spread_over(n))
    cooks = _Cooks(body, Fire(stand, rng, outdoors, n), schedule, outdoors)
    if loading_s > 0.0:
        cooks.fire.open_lid(loading_s)
    return _record(cooks, duration_s, dt_s, record_s or dt_s)


def simulate(
    spec: PieceSpec,
    parameters: Parameters | None = None,
    *,
    schedule: Sequence[PlantEvent] = (),
    pit: Pit | None = None,
    duration_s: float = 14 * 3600.0,
    dt_s: float = DT_S,
    seed: int = 0,
    weather: Weather | None = None,
    loading_s: float = LOADING_S,
    record_s: float | None = None,
) -> Run:
    """Cook one piece; see ``simulate_batch``. Arrays have shape (rows,)."""
    run = simulate_batch(
        spec,
        1,
        parameters=parameters or Parameters(),
        schedule=schedule,
        pit=pit,
        duration_s=duration_s,
        dt_s=dt_s,
        seed=seed,
        weather=weather,
        loading_s=loading_s,
        record_s=record_s,
    )
    return replace(run, **{name: getattr(run, name)[:, 0] for name in (*_RECORDED, "event_s")})


def _record(cooks: _Cooks, duration_s: float, dt_s: float, record_s: float) -> Run:
    steps = int(np.ceil(duration_s / dt_s))
    every = max(1, round(record_s / dt_s))
    n = len(cooks.body.core_c)
    table = np.empty((len(_RECORDED), steps // every + 1, n))
    for step in range(steps + 1):
        if step % every == 0:
            for column, values in enumerate(cooks.row()):
                table[column, step // every] = values
        if step < steps:
            cooks.advance(step * dt_s, dt_s)
    time_s = np.arange(table.shape[1], dtype=np.float64) * (every * dt_s)
    columns = dict(zip(_RECORDED, table, strict=True))
    return Run(time_s=time_s, event_s=cooks.progress.done_s, **columns)
