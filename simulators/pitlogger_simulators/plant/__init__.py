"""The plant: a smoker and its meat as heat and mass, seeded, with nothing but numpy.

One piece or many draws from start to end::

    spec = PieceSpec("brisket-packer", mass_g=3900.0)
    schedule = (
        Event("wrap", "paper", core_c=73.9),      # when the core has risen to 165 F
        Event("pull", core_c=95.0),               # off the pit, still wrapped, on a counter
        Event("place", "box", after_s=1800.0),    # half an hour after the event before
    )
    run = simulate(spec, schedule=schedule, pit=Pit(set_c=114.4), duration_s=14 * 3600, seed=1)
    run.time_s, run.core_c, run.surface_c, run.pit_c, run.mass_g, run.juice_g   # one row a step
    runs = simulate_batch(spec, n=500, schedule=schedule, duration_s=16 * 3600, seed=1)
    runs.core_c                                                      # shape (steps + 1, 500)

Live, in steps of any length, several pieces on several pits::

    smoker = LiveSmoker(seed=1, room_c=22.0)
    smoker.add_pit("pit", Pit(kind="charcoal", set_c=114.4))
    smoker.put_on("brisket-1", spec, pit="pit")
    smoker.advance(60.0)
    smoker.core_c("brisket-1"), smoker.core_c("brisket-1", depth_mm=12.0)
    smoker.surface_c("brisket-1"), smoker.air_c("brisket-1")
    smoker.pit_c("pit"), smoker.wall_c("pit")
    masses = smoker.masses("brisket-1")     # .meat_g .juice_g (kept in the wrap) .wrap_g .gross_g
    smoker.wrap("brisket-1", "foil"); smoker.unwrap("brisket-1")    # unwrap lets the juice go
    smoker.pull("brisket-1")                # off the pit, wrapped as it is, on the counter
    smoker.place("brisket-1", "box")        # see PLACES
    smoker.put_back("brisket-1", "pit"); smoker.trim("brisket-1", grams=300.0)
    smoker.slice("brisket-1"); smoker.shred("butt-1"); smoker.cube("point-1")
    smoker.vent("brisket-1")                # fold a foil wrap open
    smoker.split("brisket-1", {"point-1": 0.4, "flat-1": 0.6})
    smoker.pool(("butt-1", "butt-2"), "pork")
    fire = smoker.fire("pit")
    fire.open_lid(120.0); fire.set_point(121.0); fire.add_fuel()
    fire.go_out(); fire.relight(); fire.flare_up()
    smoker.weather(wind_m_s=6.0, rain=True); smoker.set_place_air("cabinet", 22.0)  # switched off
    smoker.time_s, smoker.pieces, smoker.pits

Temperatures in degrees Celsius, masses in grams, times in seconds. Same seed, same bytes.
"""

from pitlogger_simulators.plant.body import Body
from pitlogger_simulators.plant.boundary import (
    PLACES,
    WRAPS,
    Boundary,
    Surroundings,
    Wrap,
    at_place,
)
from pitlogger_simulators.plant.cook import Run, simulate, simulate_batch
from pitlogger_simulators.plant.cuts import CUT_SHAPES, BodyShape, PieceSpec
from pitlogger_simulators.plant.fire import Fire, Weather
from pitlogger_simulators.plant.live import LiveSmoker, Masses
from pitlogger_simulators.plant.parameters import Parameters
from pitlogger_simulators.plant.pits import KINDS, Pit
from pitlogger_simulators.plant.probe import PlantProbe
from pitlogger_simulators.plant.schedule import ACTIONS, PlantEvent

__all__ = [
    "ACTIONS",
    "CUT_SHAPES",
    "KINDS",
    "PLACES",
    "WRAPS",
    "Body",
    "BodyShape",
    "Boundary",
    "Fire",
    "LiveSmoker",
    "Masses",
    "Parameters",
    "PieceSpec",
    "Pit",
    "PlantEvent",
    "PlantProbe",
    "Run",
    "Surroundings",
    "Weather",
    "Wrap",
    "at_place",
    "simulate",
    "simulate_batch",
]
