"""Finding out how an unbranded device writes its values: bytes beside what a person reads.

``bytes`` and ``lines`` look for the place, ``scales`` for the unit and scale, ``written``
puts the declaration into a file. All are pure; ``session`` talks to device and person.
"""
