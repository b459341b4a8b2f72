"""A whole fleet on one machine: servers, nodes and simulated pits, for demo, torture and bench."""
