"""MQTT: the node's own topic tree, hub discovery, Homie, and commands where allowed."""
