"""Commands about several nodes: the uplink of one, the hub of all."""
