"""``python -m pitlogger_simulators.bluetooth``: see ``control``."""

from pitlogger_simulators.bluetooth.control import main

main()
