"""``hopyears promise``: how likely a year breaks a target, and which target can be promised."""

import argparse
from typing import TYPE_CHECKING

from hopyears.sim.wording.terminal import fill, plain_table, say, terminal

if TYPE_CHECKING:
    import pandas as pd

    from hopyears.sim.runs.promise import Terms

ALL = "all"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """RUN, services, target, and what the promise is to mean."""
    parser.add_argument("run", metavar="RUN", help="folder that 'hopyears simulate' wrote")
    parser.add_argument("--service", metavar="ID", default=ALL, help="service id, or 'all' (default)")
    target = parser.add_mutually_exclusive_group()
    target.add_argument(
        "--target-min-per-year", type=float, metavar="MIN", help="unavailable minutes allowed in a year"
    )
    target.add_argument(
        "--availability", type=float, metavar="PER_CENT", help="the same as an availability, such as 99.99"
    )
    parser.add_argument(
        "--contract-years", type=int, default=1, metavar="N", help="years that must all keep it (default 1)"
    )
    parser.add_argument(
        "--chance", type=float, default=0.9, help="how likely the promise is to hold (default 0.9)"
    )
    parser.add_argument("--confidence", type=float, default=0.9, help="how sure that chance is (default 0.9)")
    parser.add_argument("--csv", metavar="FILE", help="write the table there too")


def run(options: argparse.Namespace) -> int:
    """Print the years of each service against the target, and the promise that holds."""
    from hopyears.sim.inputs.network_file import InputError
    from hopyears.sim.runs.promise import Terms, minutes_of_years, promise_table
    from hopyears.sim.storage.run_folder import RunFolder

    terms = Terms(_target_min(options), options.contract_years, options.chance, options.confidence)
    services, minutes = minutes_of_years(RunFolder(options.run))
    table = promise_table(services, minutes, terms)
    if options.service != ALL:
        table = table[table["service"] == options.service]
        if table.empty:
            shown = ", ".join(services[:10]) + (", ..." if len(services) > 10 else "")
            raise InputError(
                f'--service is "{options.service}"; must be a service of the run: {shown or "none"}'
            )
    _print(table, terms, minutes.shape[1])
    if options.csv:
        _write(table, options.csv)
    return 0


def _target_min(options: argparse.Namespace) -> float | None:
    from hopyears.models.basics.units import MINUTES_PER_YEAR
    from hopyears.sim.inputs.network_file import InputError

    if options.availability is None:
        target: float | None = options.target_min_per_year
        return target
    if not 0.0 <= options.availability <= 100.0:
        raise InputError(f"--availability is {options.availability:g}; must be 0 to 100 per cent")
    return (1.0 - float(options.availability) / 100.0) * MINUTES_PER_YEAR


def _write(table: "pd.DataFrame", path: str) -> None:
    from hopyears.sim.inputs.network_file import InputError

    try:
        table.to_csv(path, index=False)
    except OSError as error:
        raise InputError(f"{path}: file is not writable ({error.strerror}); must be") from None


def _print(table: "pd.DataFrame", terms: "Terms", n_years: int) -> None:
    from hopyears.sim.runs.promise import years_wanted
    from hopyears.sim.wording.wording import chance, number, per_cent, records

    console = terminal(160)
    if terms.target_min is None:
        title = f"unavailable minutes of {n_years} simulated years"
    else:
        allowed = number(terms.target_min)
        title = f"at most {allowed} unavailable minutes a year, by {n_years} simulated years"
    contract = terms.contract_years > 1
    columns = ["service", "mean", "median year", "worst year"]
    if terms.target_min is not None:
        columns += ["a year breaks it"] + ["any of the contract's years breaks it"] * contract
    columns += ["can be promised for a year"] + [f"for each of {terms.contract_years} years"] * contract
    rows = []
    for row in records(table):
        cells = [
            row["service"],
            *(number(row[f"{name}_min_per_year"]) for name in ("mean", "median", "worst")),
        ]
        if terms.target_min is not None:
            cells += [chance(row, "year_break_chance")]
            cells += [chance(row, "contract_break_chance")] * contract
        cells += [_limit(row["year_limit_min"])] + [_limit(row["contract_limit_min"])] * contract
        rows.append(cells)
    console.print(fill(plain_table(title, columns, ("service",)), rows), markup=False)
    say(
        console,
        f"Promised minutes hold with a chance of {per_cent(terms.chance)}, at a confidence of "
        f"{per_cent(terms.confidence)}; brackets are {per_cent(terms.confidence)} intervals.",
    )
    for years, wanted in (
        (1, years_wanted(terms.chance, terms.confidence)),
        (terms.contract_years, years_wanted(terms.chance ** (1.0 / terms.contract_years), terms.confidence)),
    ):
        if wanted > n_years and (years > 1) == contract:
            say(
                console,
                f"'?': a promise for {'a year' if years == 1 else f'each of {years} years'} takes {wanted} "
                "simulated years or more; 'hopyears simulate --resume' adds years.",
            )


def _limit(minutes: float) -> str:
    from hopyears.sim.wording.wording import number

    return f"{number(minutes)} min" if minutes < float("inf") else "?"
