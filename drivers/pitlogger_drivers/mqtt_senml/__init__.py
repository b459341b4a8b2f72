"""SenML packs: received over MQTT, or lines of a capture."""
