"""``hopyears promise``: whether contracts are kept, how likely they are broken, and what can be promised."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from hopyears.sim.wording.terminal import fill, plain_table, print_table, say, terminal

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd

    from hopyears.sim.rare.year_tables import YearTables
    from hopyears.sim.runs.promise_terms import Promise, PromiseTerms
    from hopyears.sim.storage.run_folder import RunFolder
    from hopyears.sim.wording.promises import Promised
    from hopyears.sim.wording.wording import Cell

ALL = "all"

METHOD_NOTE = "Weather is as P.530 has it; --method-error takes in how wrong that may be of one place."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """RUN, services, target, and what the promise is to mean."""
    from hopyears.sim.commands.run_options import add_workers_argument

    parser.add_argument("run", metavar="RUN", help="folder that 'hopyears simulate' wrote")
    parser.add_argument("--service", metavar="ID", default=ALL, help="service id, or 'all' (default)")
    parser.add_argument(
        "--network", metavar="FILE", help="take the contracts of this network file, not those of the run"
    )
    target = parser.add_mutually_exclusive_group()
    target.add_argument(
        "--unavailable-min",
        type=float,
        metavar="MIN",
        help="in place of contracts: unavailable minutes allowed",
    )
    target.add_argument(
        "--availability", type=float, metavar="PER_CENT", help="the same as an availability, such as 99.99"
    )
    parser.add_argument(
        "--period", choices=("year", "month"), default="year", help="of what is promised (default year)"
    )
    parser.add_argument(
        "--contract-years",
        type=int,
        default=1,
        metavar="N",
        help="years in a row that must keep it (default 1)",
    )
    parser.add_argument(
        "--chance", type=float, default=0.9, help="how likely a promise is to hold (default 0.9)"
    )
    parser.add_argument(
        "--confidence",
        type=float,
        default=0.9,
        help="how sure that chance must be, given the years simulated (default 0.9)",
    )
    parser.add_argument(
        "--method-error",
        action="store_true",
        help="take in that P.530 itself may be wrong of this place, with the same confidence",
    )
    parser.add_argument(
        "--levers",
        action="store_true",
        help="judge blocks again to tell what keeps each contract from more: takes minutes",
    )
    parser.add_argument(
        "--blocks", type=int, default=10, metavar="N", help="blocks for --levers (default 10)"
    )
    add_workers_argument(parser)
    parser.add_argument("--csv", metavar="FILE", help="write the table there too")
    parser.add_argument("--page", metavar="FILE", help="write a page of it there")
    parser.add_argument(
        "--years-csv", metavar="FILE", help="write every simulated year of each service there"
    )


def run(options: argparse.Namespace) -> int:
    """Print what each contract asks for, whether it is kept, and what could be promised."""
    from hopyears.sim.inputs.input_text import write_text
    from hopyears.sim.rare.year_tables import YearTables
    from hopyears.sim.runs.promise import promise_table
    from hopyears.sim.runs.single_years import single_years
    from hopyears.sim.storage.run_folder import RunFolder
    from hopyears.sim.wording.names import id_of, labels_of, relabelled
    from hopyears.sim.wording.promises import Promised

    terms = _terms(options)
    folder = RunFolder(options.run)
    labels = labels_of(folder.network())
    options.service = id_of(options.service, labels["services"])
    promises = _promises(options, folder, terms)
    years = YearTables(folder)
    note = METHOD_NOTE
    if options.method_error:
        years, note = _with_method_error(options, years)
    table = promise_table(years, folder.network(), promises, terms)
    shown = relabelled(table, labels)
    penalties, currency = _penalties(years, options, folder, terms, labels["services"])
    levers = relabelled(_levers(options, promises, terms), labels) if options.levers else None
    found = Promised(shown, terms, years.n_years, penalties, currency, levers, note)
    _print(found)
    if options.csv:
        write_text(Path(options.csv), table.to_csv(index=False))
    if options.years_csv:
        every = single_years(years, folder.network())
        write_text(Path(options.years_csv), every.to_csv(index=False))
    if options.page:
        from hopyears.sim.report.promise_page import promise_page

        print(write_text(Path(options.page), promise_page(found, folder.manifest())))
    return 0


def _terms(options: argparse.Namespace) -> "PromiseTerms":
    """What the promise is to mean, from the command line."""
    from hopyears.sim.inputs.input_errors import InputError
    from hopyears.sim.runs.promise_terms import PromiseTerms

    share = options.availability
    if share is not None and not 1.0 <= share <= 100.0:
        hint = f". Did you mean {100.0 * share:g}?" if 0.01 <= share < 1.0 else ""
        raise InputError(f"--availability is {share:g}; must be 1 to 100 per cent{hint}")
    try:
        return PromiseTerms(
            options.chance,
            options.confidence,
            None if share is None else share / 100.0,
            options.unavailable_min,
            options.period,
            options.contract_years,
        )
    except InputError as error:
        raise InputError(f"--{str(error).replace('_', '-')}") from None


def _promises(options: argparse.Namespace, folder: "RunFolder", terms: "PromiseTerms") -> "list[Promise]":
    """Contracts of the run, of another file, or one for each service by the target of the command line."""
    from pydantic import ValidationError

    from hopyears.sim.inputs.input_errors import InputError
    from hopyears.sim.inputs.network_file import read_network
    from hopyears.sim.runs.promise_terms import judged_promises

    contracts = read_network(options.network).network.contracts if options.network else None
    service = None if options.service == ALL else options.service
    try:
        return judged_promises(folder.network(), terms, contracts, service=service)
    except ValidationError:
        raise InputError(
            f"{folder.path}: network.json is not readable; must be as simulate wrote it"
        ) from None


def _with_method_error(options: argparse.Namespace, years: "YearTables") -> "tuple[YearTables, str]":
    """Years with the longest weather that P.530's own error leaves possible, and a sentence on it."""
    from hopyears.sim.inputs.input_errors import InputError
    from hopyears.sim.runs.rerun import open_run
    from hopyears.sim.studies.method_error import MULTIPATH_ERROR_DB, RAIN_ERROR, weather_factors
    from hopyears.sim.wording.wording import number, per_cent

    run = open_run(options.run)
    if not years.replicated:
        raise InputError(
            f"{options.run}: run has no replications of failures, or one block; must have them, so that "
            "--method-error can tell weather from failures"
        )
    causes = run.folder.read_results()["service_causes"].to_pandas()
    factors = weather_factors(run.prepared, causes, options.confidence)
    return years.with_weather(factors), (
        f"Weather is {number(factors.min())} to {number(factors.max())} times as long as P.530 has it: it is "
        f"no worse with a confidence of {per_cent(options.confidence)}, if {per_cent(RAIN_ERROR)} wrong in "
        f"rain attenuation and {MULTIPATH_ERROR_DB:g} dB in multipath fades (sources in the guide)."
    )


def _penalties(
    years: "YearTables",
    options: argparse.Namespace,
    folder: "RunFolder",
    terms: "PromiseTerms",
    labels: "Mapping[str, str]",
) -> "tuple[list[list[str | Cell]], str]":
    """Expected penalties of services that state any, and what a year keeps within; their currency."""
    from hopyears.models.network.network import Service
    from hopyears.sim.inputs.network_file import read_network
    from hopyears.sim.runs.promise import promised_penalties
    from hopyears.sim.wording.promises import penalty_cells

    network = folder.network()
    if options.network:
        given = read_network(options.network).network
        services, currency = [*given.services], given.prices.currency
    else:
        services = [Service.model_validate(each) for each in network["services"] if each["penalties"]]
        currency = str(network["prices"]["currency"])
    ids = [str(each["id"]) for each in network["services"]]
    wanted = [each for each in services if options.service in (ALL, each.id)]
    found = promised_penalties(years, ids, wanted, terms)
    return [penalty_cells(each, labels) for each in found], currency


def _levers(options: argparse.Namespace, promises: "list[Promise]", terms: "PromiseTerms") -> "pd.DataFrame":
    from hopyears.sim.commands.progress import progress_bar
    from hopyears.sim.commands.run_options import at_least, workers_of
    from hopyears.sim.runs.rerun import open_run
    from hopyears.sim.studies.levers import levers

    at_least(options, blocks=1, workers=1)
    run = open_run(options.run)
    with progress_bar("blocks") as bar:
        return levers(
            run,
            promises,
            terms,
            n_blocks=options.blocks,
            workers=workers_of(options, run.prepared.network),
            progress=bar,
        )


def _print_levers(found: "pd.DataFrame", table: "pd.DataFrame") -> None:
    from hopyears.sim.wording.promises import LEVER_HEADS, LEVER_NOTE, lever_cells, lever_sentence

    console = terminal()
    for name in dict.fromkeys(table["contract"]):
        own = found[found["contract"] == name]
        shown = plain_table(f"{name}: had it never gone wrong", LEVER_HEADS, LEVER_HEADS[:2])
        print_table(console, fill(shown, lever_cells(own)))
        say(console, lever_sentence(own))
    say(console, LEVER_NOTE)


def _print(found: "Promised") -> None:
    from hopyears.sim.wording.promises import HEADS, PENALTY_HEADS, meaning, promise_answer, promise_rows
    from hopyears.sim.wording.wording import plural

    console = terminal()
    for sentence in promise_answer(found.table):
        say(console, sentence)
    rows = promise_rows(found.table)
    heads = list(HEADS)
    if not any(row[-1] for row in rows):
        rows, heads = [row[:-1] for row in rows], heads[:-1]
    title = f"promises, by {plural(found.years, 'simulated year')}"
    table_shown = fill(plain_table(title, heads, ("contract", "services", "asked")), rows)
    print_table(console, table_shown, elsewhere="a wider terminal or --csv FILE")
    for sentence in meaning(found.table, found.terms):
        say(console, sentence)
    if found.penalties:
        table_shown = plain_table(f"penalties of a year [{found.currency}]", PENALTY_HEADS, PENALTY_HEADS[:1])
        print_table(console, fill(table_shown, found.penalties))
    say(console, found.note)
    if found.levers is not None:
        _print_levers(found.levers, found.table)
