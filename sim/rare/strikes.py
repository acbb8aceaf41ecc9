"""A strike of lightning put in by hand: when, which radios of the site it kills, and its weight."""

import numpy as np

from hopyears.models.basics.arrays import Bools
from hopyears.models.basics.intervals import Intervals
from hopyears.models.equipment.plant import Plant
from hopyears.models.equipment.working_time import HOUR_S

EVEN_CHANCE = 0.5
"""Chance that a strike takes each radio, in half of the strikes put in by hand: those that take several are
rare, and stop what is protected."""


def strike_in(
    plant: Plant, site: int, storms: Intervals, years_s: tuple[float, float], random: np.random.Generator
) -> tuple[float, dict[int, tuple[float, ...]], float]:
    """A strike at a site during a span of time, evenly over its storms, that takes at least one radio.

    Parameters
    ----------
    plant : Plant
        With lightning.
    site : int
        With at least one outdoor radio.
    storms : Intervals
        Over each site.
    years_s : (float, float)
        The span [s].
    random : numpy.random.Generator

    Returns
    -------
    tuple
        Time [s]; times at which each part is hit; strikes of that kind to be expected in the span over the
        chance that this one was drawn: its weight. In a span without storms none are expected: weight 0.
    """
    lightning = plant.lightning
    assert lightning is not None  # strikes are put in only where there are some
    inside = storms.clipped(*years_s)
    start_s, end_s = inside.of(site)
    length_s = end_s - start_s
    exposed = plant.outdoor_parts[plant.part_site[plant.outdoor_parts] == site]
    n, harm = len(exposed), lightning.damage_chance
    place_s = random.random() * float(length_s.sum())
    killed = _killed(random, n, harm if random.random() < 0.5 else EVEN_CHANCE)
    if not length_s.size:
        return years_s[0], {}, 0.0
    before_s = np.cumsum(length_s)
    row = min(int(np.searchsorted(before_s, place_s, side="right")), len(length_s) - 1)
    time_s = float(end_s[row] - (before_s[row] - place_s))
    known = _chance(killed, harm)
    drawn = 0.5 * known / _some(n, harm) + 0.5 * _chance(killed, EVEN_CHANCE) / _some(n, EVEN_CHANCE)
    expected = lightning.strikes_per_storm_h * float(length_s.sum()) / HOUR_S
    return time_s, {int(part): (time_s,) for part in exposed[killed]}, expected * known / drawn


def _killed(random: np.random.Generator, n: int, chance: float) -> Bools:
    """Which of n radios a strike takes, at least one."""
    killed = random.random(n) < chance
    while not killed.any():
        killed = random.random(n) < chance
    return np.asarray(killed)


def _chance(killed: Bools, harm: float) -> float:
    hit = int(np.count_nonzero(killed))
    return float(harm**hit * (1.0 - harm) ** (killed.size - hit))


def _some(n: int, harm: float) -> float:
    """Chance that at least one of n radios is taken."""
    return float(1.0 - (1.0 - harm) ** n)
