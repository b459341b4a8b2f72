"""MQTT: the node's own topic tree, hub discovery, and commands where allowed."""
