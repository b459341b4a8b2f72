"""How things stand, as typed read models, and the words they are shown in.

Made once from the engine's state; the page, the API, the commands, MQTT and the sheets show them.
"""
