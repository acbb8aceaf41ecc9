"""What is paid at once and by the year, brought to one sum over a stated life at a stated rate."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np


@dataclass(frozen=True)
class CostRow:
    """One row of a bill with its prices.

    Attributes
    ----------
    place : str
        Hop end, hop, site, base or depot.
    item : str
        A key of ``items.PRICED``.
    kind : str
        Its type, empty where it has none.
    band : str
        Its band, likewise.
    count : float
        How many, above 0.
    once, yearly : float or None
        Price of one, and of one by the year [money]; None where no price is given.
    renewed_years : float or None
        Bought again after so many years; None lasts for the whole life.
    """

    place: str
    item: str
    kind: str
    band: str
    count: float
    once: float | None = None
    yearly: float | None = None
    renewed_years: float | None = None

    @property
    def priced(self) -> bool:
        """Whether it has any price."""
        return self.once is not None or self.yearly is not None


class Cost(NamedTuple):
    """Money of some rows: paid at once; by the year; present sum of all payments of a life [money]."""

    capital: float
    yearly: float
    present: float

    def __sub__(self, other: "Cost") -> "Cost":
        return Cost(*(one - two for one, two in zip(self, other, strict=True)))


@dataclass(frozen=True)
class Terms:
    """Life over which all is reckoned, and the rate at which later payments count less.

    Attributes
    ----------
    life_years : float
        Above 0.
    discount_rate : float
        A year, at least 0.
    """

    life_years: float
    discount_rate: float

    def annuity_factor(self) -> float:
        """Present sum of one unit of money paid at the end of each year of the life.

        The last payment of a life that is no whole number of years is the share of that year.

        Notes
        -----
        (1 - (1 + r)^-n) / r for whole years n, the usual formula of engineering economics.
        """
        whole = int(np.floor(self.life_years + 1e-9))
        years = np.arange(1, whole + 1)
        rest = max(self.life_years - whole, 0.0)
        last = rest * (1.0 + self.discount_rate) ** -self.life_years
        return float(((1.0 + self.discount_rate) ** -years).sum() + last)

    def renewals_factor(self, every_years: float | None) -> float:
        """Present sum of one unit paid at the start and again after every so many years of the life."""
        if every_years is None:
            return 1.0
        at = np.arange(0.0, self.life_years - 1e-9, every_years)
        return float(((1.0 + self.discount_rate) ** -at).sum())

    def cost_of(self, rows: Iterable[CostRow]) -> Cost:
        """Money of all rows that have a price."""
        capital = yearly = present = 0.0
        factor = self.annuity_factor()
        for row in rows:
            once, each_year = row.count * (row.once or 0.0), row.count * (row.yearly or 0.0)
            capital += once
            yearly += each_year
            present += once * self.renewals_factor(row.renewed_years) + each_year * factor
        return Cost(capital, yearly, present)

    def by_year(self, present: float) -> float:
        """The equal payment at the end of each year of the life that is worth a present sum."""
        return present / self.annuity_factor()
