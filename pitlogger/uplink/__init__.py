"""The uplink: what a node's record holds goes to a hub, until the hub says it has it."""
