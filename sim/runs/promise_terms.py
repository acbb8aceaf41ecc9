"""What is promised, or might be: contracts of the network file, objectives of services, terms of the user."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from hopyears.models.network.contract_entry import SHORTEST_PERIOD_MIN, TERMS, Contract
from hopyears.sim.inputs.input_errors import InputError, place_among
from hopyears.sim.rare.year_law import Measure

AVAILABILITY, MINUTES, OUTAGES, THROUGHPUT = TERMS


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
