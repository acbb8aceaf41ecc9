"""What can be promised: how years differ, whether a contract is kept, and which one would be.

The units are the simulated years, taken as independent (a spare that is out of stock over New Year is the
exception). Every chance has its own interval, and every promise its confidence, because the years are few.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd

from hopyears.models.network.contract_entry import SHORTEST_PERIOD_MIN, TERMS, Contract
from hopyears.sim.counting.figures import put_interval
from hopyears.sim.counting.result_tables import table_of
from hopyears.sim.counting.statistics import Interval
from hopyears.sim.counting.years import any_year_chance
from hopyears.sim.inputs.input_errors import place_among
from hopyears.sim.inputs.network_file import InputError
from hopyears.sim.rare.year_law import Measure, YearLaw
from hopyears.sim.rare.year_tables import YearTables
from hopyears.sim.runs.single_years import slower_peak_mbit_s

CLASSES = (0.9, 0.99, 0.995, 0.999, 0.9995, 0.9999, 0.99995, 0.99999, 0.999995, 0.999999)
"""Availabilities that are promised (common practice, no source)."""

YES, NO, OPEN = "yes", "no", "open"
"""Whether a contract is kept: for sure, for sure not, or not to be told from these years."""

SURE, PLAIN = "replications", "years alone"
"""What a figure rests on."""

ALL_TERMS = "all terms"

AVAILABILITY, MINUTES, OUTAGES, THROUGHPUT = TERMS

UNITS: Mapping[str, str] = {AVAILABILITY: "share", MINUTES: "min", OUTAGES: "1", THROUGHPUT: "Mbit/s"}
"""Unit of each term's figures."""

_SLACK = 1e-9
"""A figure that passes its limit by no more is rounding."""


@dataclass(frozen=True)
class PromiseTerms:
    """What a promise is to mean, and what to judge in place of contracts.

    Attributes
    ----------
    chance : float
        How likely it is to hold, above 0 to below 1.
    confidence : float
        How sure that chance is to be had, given that the simulated years are few, above 0.5 to below 1: of
        each end of an interval.
    availability, unavailable_min : float, optional
        What each service by itself is to keep, above 0 to 1 or minutes of a period, fewer than it has;
        without either the contracts of the network are judged, and of services that are in none what could be
        promised.
    period : str
        "year" or "month", of that or of what could be promised.
    contract_years : int
        Years in a row that must keep it, 1 to 100.

    Raises
    ------
    InputError
        If one of these is out of range.
    """

    chance: float = 0.9
    confidence: float = 0.9
    availability: float | None = None
    unavailable_min: float | None = None
    period: str = "year"
    contract_years: int = 1

    def __post_init__(self) -> None:
        share, minutes = self.availability, self.unavailable_min
        shortest_min = SHORTEST_PERIOD_MIN.get(self.period, np.inf)
        for name, kept, allowed in (
            ("chance", 0.0 < self.chance < 1.0, "above 0 to below 1"),
            ("confidence", 0.5 < self.confidence < 1.0, "above 0.5 to below 1"),
            ("availability", share is None or 0.0 < share <= 1.0, "above 0 to 1"),
            ("period", self.period in SHORTEST_PERIOD_MIN, "year or month"),
            (
                "unavailable_min",
                minutes is None or 0.0 <= minutes < shortest_min,
                f"0 to below {shortest_min:.0f}, the minutes of a {self.period}",
            ),
            ("contract_years", 1 <= self.contract_years <= 100, "1 to 100"),
        ):
            if not kept:
                raise InputError(f"{name} is {getattr(self, name)}; must be {allowed}")

    @property
    def target(self) -> dict[str, float]:
        """Terms in place of contracts; empty where the contracts are judged."""
        asked = {AVAILABILITY: self.availability, MINUTES: self.unavailable_min}
        return {term: float(value) for term, value in asked.items() if value is not None}

    @property
    def level(self) -> float:
        """Confidence of an interval both of whose ends are so sure."""
        return 2.0 * self.confidence - 1.0


@dataclass(frozen=True)
class Promise:
    """A contract, or a service without one, whose figures are told all the same.

    Attributes
    ----------
    name : str
    services : tuple of str
    asked : mapping of str to float
        PromiseTerms and what each asks for; empty without a contract.
    monthly, planned, below, mean : bool
        As ``Contract``.
    years : int
    """

    name: str
    services: tuple[str, ...]
    asked: Mapping[str, float] = field(default_factory=dict)
    monthly: bool = False
    years: int = 1
    planned: bool = True
    below: bool = False
    mean: bool = False

    @classmethod
    def of(cls, contract: Contract) -> "Promise":
        """What a contract of a network file asks for."""
        asked = {term: float(value) for term in TERMS if (value := getattr(contract, term)) is not None}
        return cls(
            contract.id,
            contract.services,
            asked,
            monthly=contract.period == "month",
            years=contract.years,
            planned=contract.planned_work_counts,
            below=contract.below_committed_counts,
            mean=contract.together == "mean",
        )

    @property
    def first_term(self) -> str:
        """The term of the first row: unavailable minutes without a contract."""
        return next(iter(self.asked), MINUTES)

    def measure(self, term: str, peak_mbit_s: Mapping[str, float]) -> Measure:
        """Figure of a year that a term limits."""
        if term == OUTAGES:
            amounts = [("outages", 1.0)] + [("planned_outages", -1.0)] * (not self.planned)
        elif term == THROUGHPUT:
            amounts = [("undelivered_mbit", 1.0)]
        else:
            unit = 1.0 / 60.0 if term == MINUTES else 1.0
            amounts = [("unavailable_s", unit)] + [("planned_s", -unit)] * (not self.planned)
            amounts += [("below_committed_s", unit)] * self.below
        offset = tuple(-peak_mbit_s[service] for service in self.services) if term == THROUGHPUT else ()
        per_time = term in (AVAILABILITY, THROUGHPUT)
        return Measure(tuple(amounts), self.monthly, self.mean, per_time, offset)


def promises_of(
    network: Mapping[str, Any], contracts: Sequence[Contract], *, service: str | None = None
) -> list[Promise]:
    """Contracts, then every service that is in none, with the objectives it states.

    Parameters
    ----------
    network : mapping
        The network of the run as plain data.
    contracts : sequence of Contract
    service : str, optional
        Only those of this service.

    Raises
    ------
    InputError
        If the run has no such service, or none that a contract names.
    """
    ids = [str(each["id"]) for each in network["services"]]
    if service is not None:
        place_among(ids, service, "--service", "a service of the run")
    found = [Promise.of(contract) for contract in contracts]
    for promise in found:
        for named in promise.services:
            place_among(ids, named, f'contract "{promise.name}": services', "services of the run")
    held = {named for promise in found for named in promise.services}
    for each in network["services"]:
        if each["id"] not in held:
            stated = {AVAILABILITY: "availability_objective", OUTAGES: "outages_per_year_objective"}
            asked = {term: float(each[name]) for term, name in stated.items() if each.get(name) is not None}
            found.append(Promise(str(each["id"]), (str(each["id"]),), asked))
    return [promise for promise in found if service is None or service in promise.services]


def judged_promises(
    network: Mapping[str, Any],
    terms: PromiseTerms,
    contracts: Sequence[Contract] | None = None,
    *,
    service: str | None = None,
) -> list[Promise]:
    """What is judged: the target of the terms for each service, or contracts (the network's unless given).

    Raises
    ------
    InputError
        As ``promises_of``.
    """
    if contracts is None:
        contracts = [Contract.model_validate(each) for each in network.get("contracts", ())]
    asked, monthly, years = terms.target, terms.period == "month", terms.contract_years
    found = promises_of(network, () if asked else contracts, service=service)
    return [
        each if each.asked and not asked else replace(each, asked=asked, monthly=monthly, years=years)
        for each in found
    ]


def promise_table(
    years: YearTables, network: Mapping[str, Any], promises: Sequence[Promise], terms: PromiseTerms
) -> pd.DataFrame:
    """One row for each term of a contract, and one for all of them where there are several.

    Returns
    -------
    DataFrame
        ``contract``; ``services``; ``figure`` (a term, or ``ALL_TERMS``); ``unit``; ``period``;
        ``contract_years``; ``asked`` (not a number without); ``kept`` (``YES``, ``NO``, ``OPEN``, empty
        without a contract); ``year_break_chance`` and ``contract_break_chance`` (any year of the contract),
        each with limits; ``mean``, ``median`` and ``worst`` of the years; ``can_be_promised`` for every
        period of the contract (infinite or, of availability and throughput, not a number where the years are
        too few); ``rests_on``.
    """
    rows: list[dict[str, object]] = []
    for promise in promises:
        rows += promise_rows(promise, promise_law(years, network, promise), terms)
    return table_of("promise", rows)


def promise_law(years: YearTables, network: Mapping[str, Any], promise: Promise) -> YearLaw:
    """Law of the figures that a contract limits: of unavailable minutes where there is none."""
    ids = [str(each["id"]) for each in network["services"]]
    met = years.of([ids.index(each) for each in promise.services])
    return YearLaw(met, measures_of(promise, network))


def measures_of(promise: Promise, network: Mapping[str, Any]) -> list[Measure]:
    """Figures of a year that a contract limits: unavailable minutes where there is none."""
    peaks = {str(each["id"]): slower_peak_mbit_s(each) for each in network["services"]}
    return [promise.measure(term, peaks) for term in promise.asked or (MINUTES,)]


def limits_of(promise: Promise) -> list[float]:
    """Most that each of these figures may be; none without a contract."""
    return [_limit_of(term, value) for term, value in promise.asked.items()]


def promise_rows(promise: Promise, law: YearLaw, terms: PromiseTerms) -> list[dict[str, object]]:
    """Rows of ``promise_table`` for one contract."""
    limits = limits_of(promise)
    head = {
        "contract": promise.name,
        "services": ", ".join(promise.services),
        "period": "month" if promise.monthly else "year",
        "contract_years": promise.years,
        "rests_on": SURE if law.sure else PLAIN,
    }
    rows = []
    for number, term in enumerate(promise.asked or (MINUTES,)):
        own = [limit if i == number else np.inf for i, limit in enumerate(limits)]
        figures = law.figures[number]
        allowed = 1.0 - terms.chance ** (1.0 / promise.years)
        of_years = (law.mean(number), float(np.median(figures)), float(figures.max()))
        kept = law.limit(number, chance=allowed, level=terms.level)
        shown = [figure_of(term, value) for value in (*of_years, kept)]
        rows.append(
            {
                **head,
                "figure": term,
                "unit": UNITS[term],
                "asked": promise.asked.get(term, np.nan),
                **_judged(law, own, promise.years, terms),
                **dict(zip(("mean", "median", "worst", "can_be_promised"), shown, strict=True)),
            }
        )
    if len(limits) > 1:
        rows.append({**head, "figure": ALL_TERMS, **_judged(law, limits, promise.years, terms)})
    return rows


def _judged(law: YearLaw, limits: Sequence[float], years: int, terms: PromiseTerms) -> dict[str, object]:
    """Chances to break the limits, and whether they are kept."""
    row: dict[str, object] = {"kept": ""}
    if not limits:
        return row
    one = law.break_chance(limits, level=terms.level)
    contract = any_year_chance(one, years)
    put_interval(row, "year_break_chance", one)
    put_interval(row, "contract_break_chance", contract)
    row["kept"] = verdict(contract, terms.chance)
    return row


def years_wanted(chance: float, confidence: float) -> int:
    """Fewest simulated years, by themselves, from which a promise can be told that holds with a chance."""
    return int(np.ceil(np.log1p(-confidence) / np.log(chance)))


def verdict(broken: Interval, chance: float) -> str:
    """Whether a promise holds with a chance, by the limits of the chance that it is broken."""
    if broken.high <= 1.0 - chance:
        return YES
    return NO if broken.low > 1.0 - chance else OPEN


def _limit_of(term: str, asked: float) -> float:
    """Most that the measure of a term may be."""
    if term == AVAILABILITY:
        return 1.0 - asked + _SLACK
    return (-asked if term == THROUGHPUT else asked) + _SLACK


def figure_of(term: str, value: float) -> float:
    """The figure that a term speaks of, from its measure; outages that can be promised are whole."""
    if term == AVAILABILITY:
        return 1.0 - value if np.isfinite(value) else np.nan
    if term == THROUGHPUT:
        return -value if np.isfinite(value) else np.nan
    return value


def class_of(share_lost: float) -> float | None:
    """Highest of ``CLASSES`` that this share of unavailable time leaves; None below all."""
    kept = [each for each in CLASSES if share_lost <= 1.0 - each + 1e-12]
    return max(kept, default=None)


def next_class(level: float | None) -> float | None:
    """The class above one; None above all."""
    return next((each for each in CLASSES if level is None or each > level), None)
