"""What can be promised: how years differ, whether a contract is kept, and which one would be.

The units are the simulated years, taken as independent (a spare that is out of stock over New Year is the
exception). Every chance has its own interval, and every promise its confidence, because the years are few.
"""

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from hopyears.models.network.network import Service
from hopyears.sim.counting.figures import put_interval
from hopyears.sim.counting.result_tables import table_of
from hopyears.sim.counting.statistics import Interval
from hopyears.sim.counting.years import any_year_chance
from hopyears.sim.money.service_money import one_outage_costs, owed_law
from hopyears.sim.rare.year_law import Measure, YearLaw
from hopyears.sim.rare.year_tables import YearTables
from hopyears.sim.runs.promise_terms import AVAILABILITY, MINUTES, OUTAGES, THROUGHPUT, Promise, PromiseTerms
from hopyears.sim.runs.single_years import slower_peak_mbit_s

CLASSES = (0.9, 0.99, 0.995, 0.999, 0.9995, 0.9999, 0.99995, 0.99999, 0.999995, 0.999999)
"""Availabilities that are promised (common practice, no source)."""

YES, NO, OPEN = "yes", "no", "open"
"""Whether a contract is kept: for sure, for sure not, or not to be told from these years."""

SURE, PLAIN = "replications", "years alone"
"""What a figure rests on."""

ALL_TERMS = "all terms"


UNITS: Mapping[str, str] = {AVAILABILITY: "share", MINUTES: "min", OUTAGES: "1", THROUGHPUT: "Mbit/s"}
"""Unit of each term's figures."""

_SLACK = 1e-9
"""A figure that passes its limit by no more is rounding."""


def promise_table(
    years: YearTables, network: Mapping[str, Any], promises: Sequence[Promise], terms: PromiseTerms
) -> pd.DataFrame:
    """One row for each term of a contract, and one for all of them where there are several.

    Columns as ``sim.wording.columns`` describes them for the table ``promise``.
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


ALL = "all services"


class PromisedPenalty(NamedTuple):
    """Penalties of a service, or of all [money]: mean of a year with limits, and what a year keeps within.

    ``within`` holds with the chance and confidence of the terms; infinite where the years are too few.
    """

    service: str
    mean: Interval
    within: float


def promised_penalties(
    years: YearTables, ids: Sequence[str], services: Sequence[Service], terms: PromiseTerms
) -> list[PromisedPenalty]:
    """Penalties of each service that states any, and of all of them together where they are several.

    Parameters
    ----------
    years : YearTables
    ids : sequence of str
        Services of the run in its order.
    services : sequence of Service
        Those among them whose penalties count.
    terms : PromiseTerms
    """
    stating = [service for service in services if service.penalties and service.id in ids]
    groups = [(service.id, [service]) for service in stating]
    if len(stating) > 1:
        groups.append((ALL, stating))
    found = []
    for name, some in groups:
        law = owed_law(years.of([ids.index(service.id) for service in some]), some)
        largest = sum(map(one_outage_costs, some))
        mean = law.mean_interval(0, level=terms.level, largest=largest)
        found.append(PromisedPenalty(name, mean, law.limit(0, chance=1.0 - terms.chance, level=terms.level)))
    return found
