"""Joining an unbranded device by pointing at it: warm a probe, type what is true twice.

``evidence`` is what was seen, ``places`` where a number may stand, ``candidates`` what meets the
evidence, ``finding`` what comes of it with its doubts: all pure. ``session`` talks to device and
person, ``block`` writes the declaration and the device's table.
"""
