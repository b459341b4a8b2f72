"""The plant: a smoker and its meat as heat and mass, seeded, with nothing but numpy.

In steps of any length, several pieces on several pits::

    smoker = LiveSmoker(seed=1, room_c=22.0)
    smoker.add_pit("pit", Pit(kind="charcoal", set_c=114.4))
    smoker.put_on("brisket-1", PieceSpec("brisket-packer", mass_g=3900.0), pit="pit")
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
