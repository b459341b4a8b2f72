"""Forecasts: when a piece is done, how long it holds, how it cools, who eats in time.

Pure functions of their request: the same request gives the same answer, so that a replay is
exact. Nothing here reads a clock, a file of the user's or a socket. Times are engine seconds.

Two ways to the finish are blended: a small physical model fitted to the readings
(``reduced``) and a regression on a library of simulated cooks (``library``). Their joint
interval is calibrated on cooks the library never saw and on the owner's own (``blend``).

``finish.forecast`` answers a ``request.Request``. Nothing is imported here: a question can be
asked without loading NumPy, which only the answer needs.
"""
