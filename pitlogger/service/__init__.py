"""As a service: systemd's unit, watchdog and reload, udev rules, time at the start, crashes."""
