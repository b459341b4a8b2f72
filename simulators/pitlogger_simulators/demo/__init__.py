"""The demo: the real daemon, simulated devices on real transports, faster than life."""
