"""Failures of rare parts made more frequent, with the likelihood ratio that makes up for it.

Only the first life of a few parts is drawn under another law: such a part fails within the simulated span
with a raised chance. The likelihood ratio is thus that of a few yes-or-no draws, is known exactly whatever
follows from them (queues, spares, standbys), and its second moment is bounded beforehand: the noise of the
weights falls on every loss, also on those that the raised parts have no part in.

References
----------
A. B. Owen, Monte Carlo theory, methods and examples (2013), chapter 9, sections 9.1 and 9.3.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hopyears.models.equipment.lifetimes import LawKind
from hopyears.models.equipment.plant import Plant
from hopyears.models.equipment.working_time import HOUR_S

LARGEST_SECOND_MOMENT = 1.25
"""Bound on the mean square of the likelihood ratio (1: all weights alike); parts are chosen within it."""

LARGEST_CHANCE = 0.5
"""Chances are not raised above this."""

_Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Raised:
    """Parts whose first failure is drawn with a raised chance.

    Attributes
    ----------
    parts : int array, shape (n,)
        Numbers in the plant.
    chance, raised : float array, shape (n,)
        Chance that the part fails within the span, by its law and as drawn.
    """

    parts: NDArray[np.int64]
    chance: _Floats
    raised: _Floats

    @property
    def second_moment(self) -> float:
        """Mean square of the likelihood ratio."""
        return float(np.prod(_second_moments(self.chance, self.raised)))

    def drawn(self, uniform: _Floats) -> tuple[_Floats, float]:
        """Uniform draws of the first lives under the raised law, and their likelihood ratio.

        Parameters
        ----------
        uniform : float array, shape (n_parts,)
            In (0, 1), one for each part of the plant.

        Returns
        -------
        tuple
            Draws to use in their place, those of other parts as they are; likelihood of these draws by the
            parts' own laws over that by the raised ones.
        """
        given, p, q = uniform[self.parts], self.chance, self.raised
        fails = given < q
        used = uniform.copy()
        used[self.parts] = np.where(fails, given * p / q, p + (given - q) * (1.0 - p) / (1.0 - q))
        return used, float(np.prod(np.where(fails, p / q, (1.0 - p) / (1.0 - q))))


def raised_parts(plant: Plant, span_s: float, factor: float) -> Raised:
    """Parts to raise, and by how much, for histories of a given length.

    Parameters
    ----------
    plant : Plant
    span_s : float
        Length of a history, warm-up included [s], above 0.
    factor : float
        How many times as often they are to fail within it, at least 1.

    Returns
    -------
    Raised
        Parts of exponential life that stop traffic by themselves (not those of a chain with a standby beside
        it), the longest to mend first, as many as ``LARGEST_SECOND_MOMENT`` allows. Which parts are chosen
        decides how much is won, never whether the mean is right.

    Raises
    ------
    ValueError
        If the factor is below 1.
    """
    if not factor >= 1.0:
        raise ValueError(f"factor is {factor}; must be at least 1")
    law, mean_h, _ = plant.lives
    chance = -np.expm1(-span_s / HOUR_S / mean_h)
    backed = {
        part for group in plant.groups if len(group.chains) > 1 for chain in group.chains for part in chain
    }
    mend_h = [(part.mend or plant.kinds[part.kind].mend).mean_h for part in plant.parts]
    order = [
        part
        for part in np.argsort(-np.array(mend_h), kind="stable").tolist()
        if law[part] == LawKind.EXPONENTIAL and part not in backed and chance[part] < LARGEST_CHANCE
    ]
    parts = np.array(order, dtype=np.int64)
    raised = np.minimum(factor * chance[parts], LARGEST_CHANCE)
    within = np.cumprod(_second_moments(chance[parts], raised)) <= LARGEST_SECOND_MOMENT
    return Raised(parts[within], chance[parts][within], raised[within])


def _second_moments(chance: _Floats, raised: _Floats) -> _Floats:
    moments: _Floats = chance**2 / raised + (1.0 - chance) ** 2 / (1.0 - raised)
    return moments
