"""All that might be put into a history by hand, with its rate and the harm that it does alone."""

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array, vstack

from hopyears.models.basics.arrays import Bools, Floats
from hopyears.models.basics.units import HOURS_PER_YEAR
from hopyears.models.equipment.lifetimes import LawKind
from hopyears.sim.blocks.prepared import Prepared, stormy_share
from hopyears.sim.rare.alone import Alone

LIGHTNING = "lightning"
"""In place of a kind of part."""


@dataclass(frozen=True)
class Candidates:
    """All that might be put in by hand: every part of a plant, then a strike at every site.

    Attributes
    ----------
    kind : tuple of str, length n
        Kind of part, or ``LIGHTNING``.
    rate_per_year : float array, shape (n,)
        Of failures while the part works; of strikes that kill anything.
    lost_s : sparse float array, shape (n, n_services)
        Time that each takes alone from each service.
    restore_s : float array, shape (n,)
        Time that few outlast.
    able : bool array, shape (n,)
        Whether each comes at a constant rate.
    harmful : float array, shape (n,)
        Share that stops traffic.
    """

    kind: tuple[str, ...]
    rate_per_year: Floats
    lost_s: csr_array
    restore_s: Floats
    able: Bools
    harmful: Floats

    @classmethod
    def of(cls, prepared: Prepared, single: Alone) -> "Candidates":
        """All of a network."""
        plant = prepared.built.plant
        law, mean_h, _ = plant.lives
        kinds = [plant.kinds[part.kind] for part in plant.parts]
        slowest_s = np.zeros(len(plant.sites))
        np.maximum.at(slowest_s, plant.part_site[plant.outdoor_parts], single.restore_s[plant.outdoor_parts])
        strikes = strikes_per_year(prepared)
        early = np.array([kind.infant_share > 0.0 for kind in kinds], dtype=np.bool_)
        return cls(
            (*(part.kind for part in plant.parts), *([LIGHTNING] * len(plant.sites))),
            np.concatenate([HOURS_PER_YEAR / mean_h, strikes]),
            vstack([single.lost_s, single.struck_s], format="csr"),
            np.concatenate([single.restore_s, slowest_s]),
            np.concatenate([(law == LawKind.EXPONENTIAL) & ~early, strikes > 0.0]),
            np.concatenate([[kind.affecting_share for kind in kinds], np.ones(len(plant.sites))]),
        )


def strikes_per_year(prepared: Prepared) -> Floats:
    """Strikes at each site that kill at least one outdoor part, in the mean of years, shape (n_sites,)."""
    plant = prepared.built.plant
    exposed = np.bincount(plant.part_site[plant.outdoor_parts], minlength=len(plant.sites))
    if plant.lightning is None:
        return np.zeros(len(plant.sites))
    stormy_h = stormy_share(prepared) * HOURS_PER_YEAR
    harm = 1.0 - (1.0 - plant.lightning.damage_chance) ** exposed
    return np.asarray(plant.lightning.strikes_per_storm_h * stormy_h * harm)
