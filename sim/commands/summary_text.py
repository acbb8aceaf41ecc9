"""Readable summary of a run for the terminal; its cells are those of the page."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from hopyears.sim.equipment.failure_log import PHASES
from hopyears.sim.runs.failure_rows import OUTAGE_NOTE
from hopyears.sim.runs.objective_counts import objectives_summary
from hopyears.sim.runs.results import Results
from hopyears.sim.wording.caution import CAUTION
from hopyears.sim.wording.details import priority_rows, year_rows
from hopyears.sim.wording.rows import (
    RATE_LEVELS,
    failure_tables,
    hop_rows,
    objective_rows,
    rate_rows,
    service_rows,
    worst_first,
)
from hopyears.sim.wording.terminal import (
    ROWS_SHOWN,
    fill,
    plain_table,
    say,
    say_left_out,
    shown_rows,
    terminal,
)
from hopyears.sim.wording.wording import FIRST_ANSWER_LEVEL, level_name, main_causes, records, time_share

if TYPE_CHECKING:
    import pandas as pd
    from rich.console import Console
    from rich.table import Table

_MOST = "unavailable_min_per_year"


def print_summary(results: Results, *, every_row: bool = False) -> None:
    """Print services with intervals and main causes, objectives, rates, and hops with their modulations.

    Of more rows than ``ROWS_SHOWN`` only the worst are printed unless ``every_row``; of objectives those that
    are least surely met.
    """
    console = terminal(180)
    say(console, "{title}: {years} years, seed {seed}, run {identity}".format_map(dict(results.manifest)))
    if len(results.services):
        _print_services(console, results, every_row=every_row)
    hops = shown_rows(results.hops, _MOST, every_row=every_row)
    console.print(_hops(hops, results.tables["hop_modulations"], results.tables["hop_causes"]), markup=False)
    say_left_out(console, len(results.hops), "hops that are less unavailable", every_row=every_row)
    if results.manifest["options"]["failures"]:
        for table in _failures(results, every_row=every_row):
            console.print(table, markup=False)
        say(console, OUTAGE_NOTE)
    say(console, "95 % intervals in brackets; 'at most' and 'at least' where nothing was seen.")
    say(console, CAUTION)


def _print_services(console: "Console", results: Results, *, every_row: bool) -> None:
    services = worst_first(shown_rows(results.services, _MOST, every_row=every_row))
    tables = [_services(services, results.tables["service_causes"]), _years(results, services)]
    tables.append(_rates(services))
    for table in tables:
        console.print(table, markup=False)
    say_left_out(console, len(results.services), "services that are less unavailable", every_row=every_row)
    objectives = results.tables["service_objectives"]
    console.print(_objectives(objectives, every_row=every_row), markup=False)
    left_out = "services that meet their objectives more surely"
    say_left_out(console, len(objectives), left_out, every_row=every_row)
    say(console, objectives_summary(objectives))
    console.print(_priorities(results.tables["priority_undelivered"]), markup=False)


def _services(services: "pd.DataFrame", causes: "pd.DataFrame") -> "Table":
    columns = {
        "service": "service",
        "unavailable min/year": "unavailable",
        "of it planned": "planned",
        "below committed": "below",
        "available": "availability",
        "textbook": "textbook",
        "outages/year": "outages",
        "mean": "mean",
        "longest": "longest",
        "SES/year": "severe",
        "worst month min": "worst_month",
    }
    table = plain_table("services", (*columns, "main causes"), ("service", "main causes"))
    for cells in map(service_rows, records(services)):
        cells |= {name: cells[name][0] for name in ("outages", "severe", "below")}
        named = main_causes(causes[causes["service"] == cells["service"]], _MOST)
        fill(table, [[*(cells[name] for name in columns.values()), named]])
    return table


def _years(results: Results, services: "pd.DataFrame") -> "Table":
    """What single years look like."""
    levels, rows = year_rows(results.tables["service_years"], results.tables["service_targets"])
    level = level_name(FIRST_ANSWER_LEVEL)
    columns = ("service", "median year min", "9 of 10 years within", f"a year breaks {level}")
    table = plain_table("single years: unavailable minutes", columns, ("service",))
    chance = 2 + levels.index(level)
    return fill(
        table, ([name, rows[name][0], rows[name][1], rows[name][chance]] for name in services["service"])
    )


def _objectives(objectives: "pd.DataFrame", *, every_row: bool) -> "Table":
    """What is allowed, what was found, and whether that keeps it; of many services the least sure ones."""
    title = "objectives (*: stated in the network file; the others of F.1703 and F.1668, from memory)"
    units = ("min/year", "SES ratio", "outages/year")
    judged = [head for unit in units for head in (f"allowed\n{unit}", "found", "met (how sure)")]
    table = plain_table(title, ("service", "portion", *judged), ("service", "portion"))
    for row in objective_rows(objectives)[: None if every_row else ROWS_SHOWN]:
        cells = [row["service"], row["portion"]]
        for each in row["judged"]:
            mark = "* " if each["source"] else ""
            cells += [f"{mark}{each['allowed']}", each["found"][0], (each["met"], each["sure"])]
        fill(table, [cells])
    return table


def _rates(services: "pd.DataFrame") -> "Table":
    """Rates that services get, in the worse direction."""
    shares = [f"{level.replace('_', '.')} %" for level in RATE_LEVELS]
    columns = ("service", "priority", "committed", "peak", "mean", *shares)
    table = plain_table("Mbit/s that a service has for at least so much of the time", columns, ("service",))
    rows = map(rate_rows, records(services))
    return fill(table, ([*list(row.values())[:-1], *row["levels"]] for row in rows))


def _priorities(undelivered: "pd.DataFrame") -> "Table":
    """What is not delivered, by priority; causes are those of what lacks of the committed rates."""
    columns = (
        "priority",
        "of peak Gbit/year",
        "share",
        "of committed Gbit/year",
        "share",
        "causes of the latter",
    )
    title = "not delivered, both directions together, by priority"
    table = plain_table(title, columns, ("priority", "causes of the latter"))
    for row in priority_rows(undelivered):
        (peak, share, _), (committed, committed_share, causes) = row["rates"]
        fill(table, [[row["priority"], peak, share, committed, committed_share, causes]])
    return table


def _hops(hops: "pd.DataFrame", modulations: "pd.DataFrame", causes: "pd.DataFrame") -> "Table":
    shares = modulations.groupby(["hop", "states"])["share"].mean().unstack(fill_value=0)
    names = [f"{int(states)}" if states else "down" for states in shares.columns]
    table = plain_table(
        "hops (share of time in each modulation)",
        ("hop", "scheme", "km", "GHz", "unavailable min/year", "textbook", *names),
        ("hop", "scheme"),
    )
    heads = ("hop", "scheme", "length", "frequency", "unavailable", "textbook")
    return fill(
        table,
        (
            [
                *(row[name] for name in heads),
                *map(time_share, shares.loc[row["hop"]] if row["hop"] in shares.index else ()),
            ]
            for row in hop_rows(hops, causes)
        ),
    )


def _failures(results: Results, *, every_row: bool) -> "Iterator[Table]":
    """One table each by kind of part, by site and by crew; rows that met nothing are left out."""
    phases = [phase.removeprefix("waiting ") for phase in PHASES]
    for found in failure_tables(results.tables):
        rows = found["rows"] if every_row else found["rows"][:ROWS_SHOWN]
        more = len(found["rows"]) - len(rows)
        left_out = f"; {more} more with --all" if more else ""
        table = plain_table(
            f"{found['caption']} (a year; hours failed by what was waited for{left_out})",
            (found["head"], *found["counts"], *phases, "together", "outage min", "share of outage"),
            (found["head"],),
        )
        yield fill(table, ([row["name"], *row["figures"], row["share"]] for row in rows))
