"""What to choose: plans against each other, what to buy, to promise, to modulate."""

import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from hopyears.sim.advice.advise import OPTIONS as ADVICE_OPTIONS
from hopyears.sim.advice.advise import Advice
from hopyears.sim.advice.advise import advise as advise_on
from hopyears.sim.advice.candidates import read_candidates
from hopyears.sim.advice.confirm import Goal
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.inputs.input_errors import InputError
from hopyears.sim.modulation.study import modulation_study
from hopyears.sim.rare.year_tables import YearTables
from hopyears.sim.runs.promise import promise_table
from hopyears.sim.runs.promise_terms import PromiseTerms, judged_promises
from hopyears.sim.runs.runner import BLOCK_YEARS
from hopyears.sim.runs.simulate import DEFAULT_OPTIONS, RunRequest
from hopyears.sim.storage.run_folder import RunFolder
from hopyears.sim.studies.compare import ComparedPlan
from hopyears.sim.studies.compare import compare as compare_into
from hopyears.sim.studies.levers import levers as levers_of
from hopyears.sim.studies.plan_tables import Comparison

if TYPE_CHECKING:
    pass

from hopyears.runs import Network, Results, run_again, source_of


def compare(
    base: Network,
    plans: Mapping[str, Network],
    *,
    years: int = 200,
    seed: int = 1,
    folder: Path | str | None = None,
    block_years: int = BLOCK_YEARS,
    workers: int | str = 1,
    options: ModelOptions = DEFAULT_OPTIONS,
) -> Comparison:
    """Plans against a network on the same random numbers.

    Gives the frames ``plans``, ``differences``, ``difference_causes`` and ``bill_differences``.

    Parameters
    ----------
    base : NetworkSource or path
    plans : mapping of str to NetworkSource or path
        By name: what ``read_plan`` gave, or whole networks.
    years, seed, folder, block_years, workers, options
        As for ``simulate``; the folder takes a run of the base and of each plan, and what it holds of them
        is kept.

    Raises
    ------
    InputError
        If a network cannot be used, a plan is named ``base``, or a folder is in use.

    Examples
    --------
    >>> base = hopyears.read_network("network.toml")
    >>> plan = hopyears.read_plan("plan.toml", base)
    >>> found = hopyears.compare(base, {"spare radio": plan}, years=2, block_years=1)
    >>> sorted(found.plans["plan"]), len(found.differences)
    (['base', 'spare radio'], 3)
    """
    request = RunRequest(years, seed, block_years, workers, options)
    members = [ComparedPlan(name, source_of(plan)) for name, plan in plans.items()]
    with tempfile.TemporaryDirectory(prefix="hopyears-") as temporary:
        out = Path(temporary) if folder is None else Path(folder)
        return compare_into(source_of(base), members, request, out)


def advise(
    network: Network,
    *,
    budget: float | None = None,
    target: tuple[str, float] | None = None,
    candidates: Path | str | None = None,
    years: int = 100,
    seed: int = 1,
    folder: Path | str | None = None,
    block_years: int = BLOCK_YEARS,
    workers: int = 1,
    options: ModelOptions = ADVICE_OPTIONS,
) -> Advice:
    """What to buy, in which order: frames ``purchases``, ``contenders`` and ``candidates``.

    Parameters
    ----------
    network : NetworkSource or path
        With prices.
    budget : float, optional
        Present sum of all payments of the stated life [money], at least 0; or a target, one of the two.
    target : (str, float), optional
        A service and its availability, above 0 to below 1, for least money.
    candidates : path, optional
        File with ``[[candidates]]`` of the user's own.
    years, seed, folder, block_years, workers, options
        As for ``compare``; ``years`` is the most that any set of candidates gets.

    Raises
    ------
    InputError
        If the network has no prices, the goal is none, or a candidate leads to no network.

    Examples
    --------
    >>> once = {"outdoor_radio": 900.0, "hybrid_coupler": 90.0, "cable": 20.0, "modem_card": 200.0}
    >>> prices = {"life_years": 10.0, "discount_rate": 0.06, "once": once}
    >>> priced = hopyears.read_plan({"prices": prices}, hopyears.read_network("network.toml"))
    >>> found = hopyears.advise(priced, budget=3000.0, years=2, block_years=1)
    >>> found.purchases["bought"][0], bool(found.purchases["spent"].max() <= 3000.0)
    ('nothing', True)
    """
    if (budget is None) == (target is None):
        raise InputError("budget and target: one of the two must be given")
    goal = Goal(budget=budget) if target is None else Goal(service=target[0], availability=target[1])
    named, made = ([], True) if candidates is None else read_candidates(Path(candidates))
    request = RunRequest(years, seed, block_years, workers, options)
    with tempfile.TemporaryDirectory(prefix="hopyears-") as temporary:
        out = Path(temporary) if folder is None else Path(folder)
        return advise_on(source_of(network), goal, request, out, named=named, made=made)


def promise(results: Results, terms: PromiseTerms = PromiseTerms()) -> pd.DataFrame:  # noqa: B008 frozen
    """Which contracts are kept, and what can be promised: frame ``promise``.

    Parameters
    ----------
    results : Results
    terms : PromiseTerms
        What a promise is to mean; a target in it is judged in place of the contracts.

    Examples
    --------
    >>> wanted = hopyears.PromiseTerms(availability=0.999)
    >>> found = hopyears.promise(hopyears.open_run("run"), wanted)
    >>> list(found["contract"]), set(found["kept"]) <= {"yes", "no", "open"}
    (['hill-ridge', 'mill-ridge'], True)
    """
    asked = judged_promises(results.network, terms)
    return promise_table(YearTables(RunFolder(results.folder)), results.network, asked, terms)


def levers(
    results: Results,
    terms: PromiseTerms = PromiseTerms(),  # noqa: B008 frozen
    *,
    blocks: int = 10,
    workers: int = 1,
) -> pd.DataFrame:
    """What could be promised had each hop, site, kind of part or cause never gone wrong: frame ``levers``.

    Parameters
    ----------
    results, terms
        As for ``promise``.
    blocks : int
        The first so many of the run, judged again; figures rest on their years alone.
    workers : int
        Processes.

    Raises
    ------
    InputError
        If the run was made by other versions.

    Examples
    --------
    >>> found = hopyears.levers(hopyears.open_run("run"))
    >>> found["kind"][0]
    'as it is'
    """
    asked = judged_promises(results.network, terms)
    return levers_of(run_again(results), asked, terms, n_blocks=blocks, workers=workers)


def modulation(
    network: Network,
    *,
    hops: Sequence[str] | None = None,
    states: Sequence[int] | None = None,
    years: int = 100,
    seed: int = 1,
    block_years: int = BLOCK_YEARS,
    workers: int | str = 1,
    options: ModelOptions = ModelOptions(),  # noqa: B008 frozen
) -> dict[str, pd.DataFrame]:
    """Adaptive against fixed modulation on the same weather, nights and failures.

    Gives frames by name, as the tables modulation_... of the reference page, for instance ``hops`` and
    ``undelivered``.

    Parameters
    ----------
    network : NetworkSource or path
    hops : sequence of str, optional
        Ids of hops; all of them, and the services, unless stated.
    states : sequence of int, optional
        Fixed modulations by their number of states; all in use unless stated.
    years, seed, block_years, workers, options
        As for ``simulate``; replications take no part.

    Raises
    ------
    InputError
        If the network cannot be used, a hop is unknown, or no hop has one of the modulations.

    Examples
    --------
    >>> found = hopyears.modulation("network.toml", years=2, block_years=1)
    >>> sorted(found["hops"]["hop"].unique())
    ['hill-mill', 'mill-ridge', 'ridge-dale']
    """
    request = RunRequest(years, seed, block_years, workers, replace(options, replications=0))
    prepared = prepare(source_of(network).network, request.options)
    return modulation_study(prepared, request, hops=hops, states=states)
