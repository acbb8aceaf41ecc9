"""Networks and runs: read, simulate, predict, explain, and results as frames."""

import tempfile
import warnings
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import pandas as pd

from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.hops.hop_design import design_hops
from hopyears.sim.inputs.input_errors import InputError
from hopyears.sim.inputs.input_text import write_text
from hopyears.sim.inputs.network_file import NetworkSource, read_network
from hopyears.sim.runs import rerun
from hopyears.sim.runs import results as stored
from hopyears.sim.runs.runner import BLOCK_YEARS
from hopyears.sim.runs.simulate import DEFAULT_OPTIONS, RunRequest
from hopyears.sim.runs.simulate import simulate as simulate_into
from hopyears.sim.studies.explain import Story
from hopyears.sim.studies.explain import explain as explain_outage
from hopyears.sim.studies.explain import worst_outages as outages_of
from hopyears.sim.textbook.predict import predict_hops, predict_services

if TYPE_CHECKING:
    from hopyears.plots import Plots

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
    run = simulate_into(source_of(network), request, folder, resume=resume, warn=_warn)
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
    plan = source_of(network).network
    prepared = prepare(plan, ModelOptions(anchoring=False), design_hops(plan))
    hops = predict_hops(prepared)
    return Prediction(hops, predict_services(prepared, hops))


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
        for number, each in enumerate(outages_of(run_again(results), service, most), start=1)
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
    run = run_again(results)
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
    from hopyears.sim.counting.result_tables import TABLES
    from hopyears.sim.wording.columns import described

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


def source_of(network: Network) -> NetworkSource:
    """What was read, or what the file holds."""
    return network if isinstance(network, NetworkSource) else read_network(network)


def _opened(folder: Path, kept: object) -> Results:
    found = stored.Results.load(folder)
    return Results(found.manifest, found.network, found.tables, folder, kept)


def run_again(results: Results) -> rerun.OpenedRun:
    """The run behind results, whose blocks can be drawn anew."""
    return rerun.open_run(results.folder)


def _warn(warning: str) -> None:
    warnings.warn(warning, UserWarning, stacklevel=4)
