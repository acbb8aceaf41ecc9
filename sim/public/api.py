"""What ``import hopyears`` offers: read, simulate, predict, compare, explain, and results as frames."""

import tempfile
import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import pandas as pd

from hopyears.sim.advice.advise import OPTIONS as ADVICE_OPTIONS
from hopyears.sim.advice.advise import Advice
from hopyears.sim.advice.advise import advise as advise_on
from hopyears.sim.advice.candidates import read_candidates
from hopyears.sim.advice.confirm import Goal
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.hops.hop_design import design_hops
from hopyears.sim.inputs.input_text import write_text
from hopyears.sim.inputs.network_file import InputError, NetworkSource, read_network
from hopyears.sim.inputs.plan_file import read_plan
from hopyears.sim.modulation.study import modulation_study
from hopyears.sim.rare.year_tables import YearTables
from hopyears.sim.runs import results as stored
from hopyears.sim.runs.promise import PromiseTerms, judged_promises, promise_table
from hopyears.sim.runs.rerun import OpenedRun
from hopyears.sim.runs.rerun import open_run as open_again
from hopyears.sim.runs.runner import BLOCK_YEARS
from hopyears.sim.runs.simulate import DEFAULT_OPTIONS, RunRequest
from hopyears.sim.runs.simulate import simulate as simulate_into
from hopyears.sim.storage.run_folder import RunFolder
from hopyears.sim.studies.compare import ComparedPlan
from hopyears.sim.studies.compare import compare as compare_into
from hopyears.sim.studies.explain import Story
from hopyears.sim.studies.explain import explain as explain_outage
from hopyears.sim.studies.explain import worst_outages as outages_of
from hopyears.sim.studies.levers import levers as levers_of
from hopyears.sim.studies.plan_tables import Comparison
from hopyears.sim.textbook.predict import predict_hops, predict_services

if TYPE_CHECKING:
    from hopyears.plots import Plots

__all__ = [
    "Advice",
    "Comparison",
    "InputError",
    "ModelOptions",
    "Prediction",
    "PromiseTerms",
    "Results",
    "advise",
    "columns",
    "compare",
    "explain",
    "levers",
    "modulation",
    "open_run",
    "predict",
    "promise",
    "read_network",
    "read_plan",
    "simulate",
    "worst_outages",
    "write_page",
]

Network = NetworkSource | Path | str
"""A network that was read, or the path of its file."""


@dataclass(frozen=True)
class Results(stored.Results):
    """Results of one run: every table as a pandas frame, and the figures of the page.

    Attributes
    ----------
    manifest, network, tables
        As of ``sim.runs.results.Results``.
    folder : Path
        Folder of the run. That of a run in memory is a temporary one and goes with the results.

    Examples
    --------
    >>> results = hopyears.open_run("run")
    >>> len(results.hops), len(results.tables)
    (3, 22)
    >>> axes = results.plot.unavailable_minutes()
    >>> axes.get_xlabel()
    'unavailable minutes a year'
    """

    folder: Path = Path()
    _kept: Any = field(default=None, repr=False)

    @property
    def plot(self) -> "Plots":
        """Figures by name, for instance ``results.plot.map()``; each gives its axes."""
        from hopyears.plots import Plots
        from hopyears.sim.wording.names import labels_of

        return Plots(self.tables, labels_of(self.network))

    @property
    def warnings(self) -> tuple[str, ...]:
        """What is legal in the network but deserves a second look."""
        return tuple(self.manifest["warnings"])


class Prediction(NamedTuple):
    """Outages by the published standards alone: frames ``predicted_hops`` and ``predicted_services``."""

    hops: pd.DataFrame
    services: pd.DataFrame


def simulate(
    network: Network,
    *,
    years: int = 200,
    seed: int = 1,
    folder: Path | str | None = None,
    resume: bool = False,
    block_years: int = BLOCK_YEARS,
    workers: int | str = 1,
    options: ModelOptions = DEFAULT_OPTIONS,
) -> Results:
    """Simulate a network for many years.

    Parameters
    ----------
    network : NetworkSource or path
    years : int
        1 to 1,000,000; rounded up to whole blocks.
    seed : int
        0 to 2^63 - 1. The same seed gives the same results.
    folder : path, optional
        Folder of the run, new or empty unless ``resume``. None keeps it in a temporary folder, which goes
        with the results.
    resume : bool
        Add what the run in the folder lacks.
    block_years : int
        Years of one independent block, 1 to 100. Intervals need several blocks.
    workers : int or str
        Processes, 1 to 256; with more than one, a program of its own needs the usual
        ``if __name__ == "__main__":``. Or the address of a dask.distributed scheduler, as tcp://HOST:PORT.
    options : ModelOptions
        Which parts of the model run.

    Warns
    -----
    UserWarning
        For each legal but doubtful input.

    Raises
    ------
    InputError
        If the network cannot be used, or the folder.

    Examples
    --------
    >>> results = hopyears.simulate("network.toml", years=2, block_years=1, seed=7)
    >>> results.services[["service", "unavailable_min_per_year_high"]].shape
    (2, 2)
    """
    request = RunRequest(years, seed, block_years, workers, options)
    kept = None
    if folder is None:
        kept = tempfile.TemporaryDirectory(prefix="hopyears-")
        folder = Path(kept.name) / "run"
    run = simulate_into(_source(network), request, folder, resume=resume, warn=_warn)
    return _opened(run.path, kept)


def open_run(folder: Path | str) -> Results:
    """Results of a run that is stored in a folder.

    Raises
    ------
    InputError
        If the folder holds no run, one of another format, one without results, or a damaged one.

    Examples
    --------
    >>> hopyears.open_run("run").manifest["seed"]
    7
    """
    return _opened(Path(folder), None)


def predict(network: Network) -> Prediction:
    """Each hop and service by the published standards alone, without simulation.

    Raises
    ------
    InputError
        If the network cannot be used.

    Examples
    --------
    >>> hops, services = hopyears.predict("network.toml")
    >>> list(services["hops"])
    [2, 1]
    """
    plan = _source(network).network
    prepared = prepare(plan, ModelOptions(anchoring=False), design_hops(plan))
    hops = predict_hops(prepared)
    return Prediction(hops, predict_services(prepared, hops))


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
    members = [ComparedPlan(name, _source(plan)) for name, plan in plans.items()]
    with tempfile.TemporaryDirectory(prefix="hopyears-") as temporary:
        out = Path(temporary) if folder is None else Path(folder)
        return compare_into(_source(base), members, request, out)


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
        return advise_on(_source(network), goal, request, out, named=named, made=made)


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
    return levers_of(_again(results), asked, terms, n_blocks=blocks, workers=workers)


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
    prepared = prepare(_source(network).network, request.options)
    return modulation_study(prepared, request, hops=hops, states=states)


def worst_outages(results: Results, service: str, *, most: int = 10) -> pd.DataFrame:
    """The longest outages of a service in a run: frame ``outages``.

    Parameters
    ----------
    results : Results
    service : str
        Its id.
    most : int
        At most so many, at least 1.

    Raises
    ------
    InputError
        If the run has no such service, or was made by other versions.

    Examples
    --------
    >>> outages = hopyears.worst_outages(hopyears.open_run("run"), "hill-ridge", most=3)
    >>> list(outages.columns)
    ['number', 'began', 'duration_s', 'cause', 'block', 'start_s']
    """
    from hopyears.models.judging.cause import cause_label

    rows = [
        (number, str(each.date), each.duration_s, cause_label(each.causes), each.block, each.start_s)
        for number, each in enumerate(outages_of(_again(results), service, most), start=1)
    ]
    return pd.DataFrame(rows, columns=list(columns("outages")["column"]))


def explain(results: Results, service: str, *, outage: int = 1) -> Story:
    """The whole story of one outage, from its block simulated again.

    Parameters
    ----------
    results : Results
    service : str
        Its id.
    outage : int
        Its number in ``worst_outages``, from 1.

    Raises
    ------
    InputError
        If the run has no such service or outage, or was made by other versions.

    Examples
    --------
    >>> story = hopyears.explain(hopyears.open_run("run"), "hill-ridge")
    >>> story.service, len(story.routes)
    ('hill-ridge', 1)
    """
    run = _again(results)
    found = outages_of(run, service, max(outage, 1))
    if not 1 <= outage <= len(found):
        raise InputError(f"outage is {outage}; must be 1 to {len(found)}, as many as the run has")
    return explain_outage(run, service, found[outage - 1])


def columns(table: str) -> pd.DataFrame:
    """What each column of a table holds: ``column``, ``unit``, ``meaning``, and ``unseen`` for bounds.

    Parameters
    ----------
    table : str
        A name of ``Results.tables``, or another of the reference page, for instance outages.

    Raises
    ------
    InputError
        If there is no such table.

    Examples
    --------
    >>> words = hopyears.columns("services").set_index("column")
    >>> words.loc["unavailable_min_per_year", "unit"]
    'min/year'
    """
    from hopyears.sim.wording.table_columns import TABLES, described

    if table not in TABLES:
        raise InputError(f'table is "{table}"; must be one of {", ".join(TABLES)}')
    rows = [(name, *words) for name, words in described(table)]
    return pd.DataFrame(rows, columns=["column", "unit", "meaning", "unseen"])


def write_page(results: Results, path: Path | str) -> Path:
    """Write the page of a run, one file that is readable offline, and give its path.

    Raises
    ------
    InputError
        If the file cannot be written.

    Examples
    --------
    >>> hopyears.write_page(hopyears.open_run("run"), "page.html").name
    'page.html'
    """
    from hopyears.sim.report.page import report_page

    return write_text(Path(path), report_page(results))


def _source(network: Network) -> NetworkSource:
    return network if isinstance(network, NetworkSource) else read_network(network)


def _opened(folder: Path, kept: object) -> Results:
    found = stored.Results.load(folder)
    return Results(found.manifest, found.network, found.tables, folder, kept)


def _again(results: Results) -> OpenedRun:
    return open_again(results.folder)


def _warn(warning: str) -> None:
    warnings.warn(warning, UserWarning, stacklevel=4)
