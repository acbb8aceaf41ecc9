"""``hopyears promise``: how likely a year breaks a target, and which target can be promised."""

import argparse
from typing import TYPE_CHECKING

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
    from rich.console import Console
    from rich.table import Table

    from hopyears.sim.runs.promise import years_wanted

    console = Console(width=None if Console().is_terminal else 160)
    if terms.target_min is None:
        title = f"unavailable minutes of {n_years} simulated years"
    else:
        title = f"at most {terms.target_min:.4g} unavailable minutes a year, by {n_years} simulated years"
    shown = Table(title=title, title_justify="left", header_style="", show_edge=False, pad_edge=False)
    contract = terms.contract_years > 1
    columns = ["service", "mean", "median year", "worst year"]
    if terms.target_min is not None:
        columns += ["a year breaks it"] + ["any of the contract's years breaks it"] * contract
    columns += ["can be promised for a year"] + [f"for each of {terms.contract_years} years"] * contract
    for column in columns:
        shown.add_column(column, justify="left" if column == "service" else "right")
    for _, row in table.iterrows():
        cells = [row["service"]]
        cells += [_minutes(row[f"{name}_min_per_year"]) for name in ("mean", "median", "worst")]
        if terms.target_min is not None:
            cells += [_chance(row, "year_break_chance")]
            cells += [_chance(row, "contract_break_chance")] * contract
        cells += [_minutes(row["year_limit_min"])] + [_minutes(row["contract_limit_min"])] * contract
        shown.add_row(*cells)
    console.print(shown, markup=False)
    console.print(
        f"Promised minutes hold with a chance of {terms.chance:.0%}, at a confidence of "
        f"{terms.confidence:.0%}; brackets are {terms.confidence:.0%} intervals.",
        highlight=False,
        markup=False,
    )
    for years, wanted in (
        (1, years_wanted(terms.chance, terms.confidence)),
        (terms.contract_years, years_wanted(terms.chance ** (1.0 / terms.contract_years), terms.confidence)),
    ):
        if wanted > n_years and (years > 1) == contract:
            console.print(
                f"'?': a promise for {'a year' if years == 1 else f'each of {years} years'} takes {wanted} "
                "simulated years or more; 'hopyears simulate --resume' adds years.",
                highlight=False,
                markup=False,
            )


def _minutes(value: float) -> str:
    return f"{value:.4g} min" if value < float("inf") else "?"


def _chance(row, name: str) -> str:  # type: ignore[no-untyped-def]
    low, best, high = (100.0 * row[f"{name}{end}"] for end in ("_low", "", "_high"))
    if best in (0.0, 100.0):  # no year broke it, or every one: only a bound is known
        return f"< {high:.3g} %" if best == 0.0 else f"> {low:.3g} %"
    return f"{best:.3g} % [{low:.3g} .. {high:.3g}]"
