"""How the receivers of one hop fade together: the structure constants between its lines.

A *line* is one frequency channel in one direction, as heard by one receive antenna; both polarisations of a
frequency share it. Near the bottom of a fade the field of line k is that of line j plus a complex Gaussian
difference, E|delta_j - delta_k|^2 = D_jk; then p(both below x) = p0 x^2/D_jk for x well below D_jk, which is
P.530's improvement with I0 = D_jk, for every depth at once.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from hopyears.models.air import diversity
from hopyears.models.basics.arrays import Floats

LARGEST_CONSTANT: Final = 8.0
"""Beyond this D two lines only meet by chance, whatever the depth."""


@dataclass(frozen=True)
class LineSet:
    """The lines of one hop and how far apart they are.

    Parameters
    ----------
    ids : tuple of str
        One stable name a line; draws are named by it.
    flat, dispersive : array, shape (2, n_lines, n_lines)
        D between lines for flat and for dispersive fades (relative power), in ordinary months and in the
        worst month of the year: symmetric, 0 on the diagonal.
    """

    ids: tuple[str, ...]
    flat: Floats
    dispersive: Floats

    def __post_init__(self) -> None:
        if len(set(self.ids)) != len(self.ids) or not self.ids:
            raise ValueError(f"ids is {self.ids}; must be one or more different names")
        for field in ("flat", "dispersive"):
            matrix = np.array(getattr(self, field), dtype=np.float64)
            if matrix.shape != (2, len(self.ids), len(self.ids)):
                raise ValueError(f"{field} is {matrix.shape}; must be two squares of {len(self.ids)} lines")
            matrix.setflags(write=False)
            object.__setattr__(self, field, matrix)

    @cached_property
    def factors(self) -> Floats:
        """``displacement_factor`` of flat and of dispersive fades, by anchor and month.

        Shape (2, n_lines, 2, n_lines - 1, n_lines - 1).
        """
        return np.stack([_factors(self.flat), _factors(self.dispersive)])


def line_set(
    ids: Sequence[str],
    *,
    frequency_ghz: ArrayLike,
    height_a_m: ArrayLike,
    height_b_m: ArrayLike,
    path_length_km: float,
    occurrence: float,
    gathering: ArrayLike = (0.0, 0.0),
) -> LineSet:
    """Structure constants between the lines of one hop, from P.530's diversity improvements.

    Parameters
    ----------
    ids : sequence of str, length n_lines
    frequency_ghz : array, shape (n_lines,)
        Carrier frequency of each line [GHz]; the two directions of a channel differ by the duplex spacing.
    height_a_m, height_b_m : array, shape (n_lines,)
        Height of the antenna the line uses at end A and at end B [m]; only differences count.
    path_length_km : float
        [km], above 0.
    occurrence : float
        p0 of the worst month [fraction], above 0.
    gathering : array, shape (2,)
        How far fades crowd into few hours, in ordinary months and in the worst: mean square of the occurrence
        over its mean, relative to ``occurrence``. In strong hours two receivers also fade together by chance;
        that share is taken off, so that the sum is P.530's. It cannot be less than nothing: improvement is at
        most 1/(p0 gathering) 10^(A/10).

    Returns
    -------
    LineSet

    Notes
    -----
    Differences at both ends add in the exponent of the space law, and frequency and space combine as in P.530
    6.2.7: both are products of valid correlations, so the matrix is that of a Gaussian field.

    References
    ----------
    Derived here from ITU-R P.530-17 and -18, 6.2.4 to 6.2.7.
    """
    carrier = np.asarray(frequency_ghz, dtype=np.float64)
    middle = 0.5 * (carrier[:, None] + carrier[None, :])
    exponent = np.zeros(middle.shape)
    for height in (height_a_m, height_b_m):
        level = np.asarray(height, dtype=np.float64)
        space = diversity.space_constant(
            level[:, None] - level[None, :],
            frequency_ghz=middle,
            path_length_km=path_length_km,
            occurrence=occurrence,
        )
        exponent = exponent + np.log1p(-np.minimum(space, 1.0 - 1e-12))
    between_antennas = -np.expm1(exponent)
    between_carriers = diversity.frequency_constant(
        np.abs(carrier[:, None] - carrier[None, :]), frequency_ghz=middle, path_length_km=path_length_km
    )
    flat = diversity.combined_constant(between_antennas, between_carriers, occurrence)
    selective = diversity.correlation_s2(diversity.correlation_w(diversity.correlation_ns2(flat, occurrence)))
    dispersive = diversity.activity(occurrence) * (1.0 - selective) / occurrence
    by_chance = occurrence * np.asarray(gathering, dtype=np.float64)[:, None, None]
    return LineSet(tuple(ids), _without_chance(flat, by_chance), _without_chance(dispersive, by_chance))


def displacement_factor(constants: ArrayLike, anchor: int) -> Floats:
    """Lower-triangular factor of the displacements of all lines from one of them.

    Parameters
    ----------
    constants : array, shape (n_lines, n_lines)
        D between lines.
    anchor : int
        The line that stays at 0.

    Returns
    -------
    array, shape (n_lines - 1, n_lines - 1)
        F such that F times standard complex normals (E|n|^2 = 1) gives the displacements of the other lines,
        in their order; lower-triangular, so that a line added at the end leaves the others where they were.
        Where D is not that of a Gaussian field, negative eigenvalues are clipped and the diagonal is kept.
    """
    table = np.asarray(constants, dtype=np.float64)
    others = np.delete(np.arange(len(table)), anchor)
    from_anchor = table[anchor, others]
    covariance = 0.5 * (from_anchor[:, None] + from_anchor[None, :] - table[np.ix_(others, others)])
    if not others.size:
        return np.asarray(covariance)
    values, vectors = np.linalg.eigh(covariance)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    length = np.sqrt(np.maximum((root**2).sum(axis=1), 1e-300))
    root = root * (np.sqrt(np.maximum(from_anchor, 0.0)) / length)[:, None]
    factor = np.asarray(np.linalg.qr(root.T, mode="r")).T
    signs = np.where(np.diag(factor) < 0.0, -1.0, 1.0)
    return np.asarray(factor * signs[None, :])


def _factors(constants: Floats) -> Floats:
    anchors = range(constants.shape[1])
    return np.array([[displacement_factor(month, anchor) for month in constants] for anchor in anchors])


def _without_chance(constants: Floats, by_chance: Floats) -> Floats:
    with np.errstate(divide="ignore"):
        wanted = 1.0 / constants - by_chance
    result = 1.0 / np.maximum(wanted, 1.0 / LARGEST_CONSTANT)
    return np.where((constants > 0.0) & ~np.eye(len(constants), dtype=bool), result, 0.0)
