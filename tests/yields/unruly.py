"""Kitchens where much else comes to rest on the scale: cats, phones, hands, two pieces, again."""

from __future__ import annotations

from tests.yields.kitchens import Kitchen


class Unruly(Kitchen):
    """A kitchen of its own kind: nothing of that is a weighing, so none of it may be kept."""

    def _visitor(self) -> None:
        rng = self.rng
        kind = rng.random()
        if kind < 0.4:  # a cat that lies still and turns round
            cat_g = rng.uniform(2500, 6500)
            levels_g = [cat_g + rng.gauss(0, 40) for _ in range(rng.randint(1, 3))]
        elif kind < 0.6:
            levels_g = [rng.uniform(120, 260)]  # a phone
        else:
            levels_g = [rng.uniform(300, 1500) if kind < 0.8 else rng.uniform(1500, 6000)]
        for level_g in levels_g:
            self._level(level_g)
            self._wait(0.3)
        self._level(0.0)

    def _aside(self, level_g: float) -> None:
        self._wait(1.0)
        self._level(level_g)
        self._wait(0.3)
        self._level(0.0)
        self._wait(1.2)

    def _weigh(self, name: str, step: str, one_by_one: bool = False) -> None:
        rng = self.rng
        slip, mass_g = rng.random(), self.mass_g[name]
        others = [one for one in self.mass_g if one != name]
        if rng.random() < 0.1:
            self._visitor()
        if slip < 0.06:  # a hand on it
            self._aside(mass_g + rng.uniform(100, 1500))
        elif slip < 0.1 and others:
            self._aside(mass_g + self.mass_g[rng.choice(others)])
        super()._weigh(name, step, one_by_one)
        if slip > 0.9:
            for _ in range(2):  # the same piece three times
                self._aside(self.mass_g[name] + rng.gauss(0, 6))
