"""Commands about the installation: run, service, configuration, notifications, pairing."""
