"""Readable summary of a run for the terminal."""

from typing import TYPE_CHECKING

from hopyears.models.judging.objectives import STATED
from hopyears.sim.commands.failures_text import failure_tables_text
from hopyears.sim.runs.failure_rows import OUTAGE_NOTE
from hopyears.sim.runs.objective_counts import least_sure_first, objectives_told
from hopyears.sim.runs.results import Results
from hopyears.sim.wording.caution import CAUTION
from hopyears.sim.wording.terminal import (
    ROWS_SHOWN,
    interval_text,
    main_causes,
    plain_table,
    say,
    say_left_out,
    shown_rows,
    sure_text,
    terminal,
)

if TYPE_CHECKING:
    import pandas as pd
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
        services = shown_rows(results.services, _MOST, every_row=every_row)
        named = list(services["service"])
        tables = [_services(results, services), _years(results, named), _rates(services)]
        for table in tables:
            console.print(table, markup=False)
        say_left_out(
            console, len(results.services), "services that are less unavailable", every_row=every_row
        )
        objectives = results.tables["service_objectives"]
        console.print(_objectives(objectives, every_row=every_row), markup=False)
        say_left_out(
            console, len(objectives), "services that meet their objectives more surely", every_row=every_row
        )
        say(console, objectives_told(objectives))
        console.print(_priorities(results.tables["priority_undelivered"]), markup=False)
    console.print(_hops(results, shown_rows(results.hops, _MOST, every_row=every_row)), markup=False)
    say_left_out(console, len(results.hops), "hops that are less unavailable", every_row=every_row)
    if results.manifest["options"]["failures"]:
        for table in failure_tables_text(results, every_row=every_row):
            console.print(table, markup=False)
        say(console, OUTAGE_NOTE)
    say(console, "95 % intervals in brackets; '<' where nothing was seen.")
    say(console, CAUTION)


def _services(results: Results, services: "pd.DataFrame") -> "Table":
    columns = (
        "service",
        "unavailable min/year",
        "available %",
        "textbook",
        "outages/year",
        "mean",
        "longest",
        "SES/year",
        "worst month min",
        "main causes",
    )
    table = plain_table("services", columns, ("service", "main causes"))
    causes = results.tables["service_causes"]
    for _, row in services.iterrows():
        table.add_row(
            row["service"],
            interval_text(row, _MOST),
            f"{100 * row['availability']:.4f}",
            f"{row['textbook_min_per_year']:.3g}",
            f"{row['outages_per_year']:.3g}",
            f"{row['mean_outage_s'] / 60:.3g} min",
            f"{row['longest_outage_s'] / 3600:.1f} h",
            f"{row['severely_errored_s_per_year']:.3g}",
            f"{row['worst_month_unavailable_min']:.3g}",
            main_causes(causes[causes["service"] == row["service"]], _MOST),
        )
    return table


def _years(results: Results, named: list[str]) -> "Table":
    """What single years look like."""
    columns = ("service", "median year min", "9 of 10 years within", "a year breaks 99.99 %")
    table = plain_table("single years: unavailable minutes", columns, ("service",))
    quantiles, targets = results.tables["service_years"], results.tables["service_targets"]
    half, most = (
        quantiles[quantiles["share_of_years"] == share].set_index("service")["unavailable_min"]
        for share in (0.5, 0.9)
    )
    breaks = {row["service"]: row for _, row in targets[targets["availability"] == 0.9999].iterrows()}
    for service in named:
        limits = [100.0 * float(breaks[service][f"year_break_chance{end}"]) for end in ("", "_low", "_high")]
        table.add_row(
            service,
            f"{half[service]:.3g}",
            f"{most[service]:.3g}",
            f"{limits[0]:.0f}% [{limits[1]:.0f} .. {limits[2]:.0f}]",
        )
    return table


def _objectives(objectives: "pd.DataFrame", *, every_row: bool) -> "Table":
    """What is allowed, what was found, and whether that keeps it; of many services the least sure ones."""
    title = "objectives (*: stated in the network file; the others of F.1703 and F.1668, from memory)"
    units = ("min/year", "SES ratio", "outages/year")
    judged = [head for unit in units for head in (f"allowed\n{unit}", "found", "met (how sure)")]
    columns = ("service", "portion", "km", *judged)
    table = plain_table(title, columns, ("service", "portion"))
    if not every_row and len(objectives) > ROWS_SHOWN:
        objectives = least_sure_first(objectives).head(ROWS_SHOWN)
    for _, row in objectives.iterrows():
        table.add_row(
            row["service"],
            row["portion"].removeprefix("national "),
            f"{row['length_km']:.1f}",
            _allowed(row, "availability", "allowed_min_per_year"),
            f"{row[_MOST]:.3g}",
            _met(row, "availability"),
            _allowed(row, "severely_errored", "severely_errored_ratio_objective"),
            f"{row['severely_errored_ratio']:.2g}",
            _met(row, "severely_errored"),
            _allowed(row, "outages", "outages_per_year_objective"),
            interval_text(row, "outages_per_year"),
            _met(row, "outages"),
        )
    return table


def _allowed(row: "pd.Series", name: str, column: str) -> str:
    """What an objective allows, with a mark where the network file states it; ``-`` where there is none."""
    if not row[f"{name}_source"]:
        return "-"
    return f"{'* ' if row[f'{name}_source'] == STATED else ''}{row[column]:.4g}"


def _met(row: "pd.Series", name: str) -> str:
    """Whether an objective is met, and how sure that is; ``-`` where there is none."""
    if not row[f"{name}_source"]:
        return "-"
    return f"{'yes' if row[f'{name}_met'] else 'no'} ({sure_text(row[f'{name}_met_confidence'])})"


def _rates(services: "pd.DataFrame") -> "Table":
    """Rates that services get, in the worse direction."""
    shares = {"99 %": "99", "99.9 %": "99_9", "99.99 %": "99_99", "99.999 %": "99_999"}
    columns = ("service", "priority", "committed", "peak", "mean", *shares)
    table = plain_table("Mbit/s that a service has for at least so much of the time", columns, ("service",))
    for _, row in services.iterrows():
        table.add_row(
            row["service"],
            f"{row['priority']}",
            *(f"{row[name]:.4g}" for name in ("committed_mbit_s", "peak_mbit_s")),
            f"{row['mean_throughput_mbit_s']:.5g}",
            *(f"{row[f'throughput_{ending}_mbit_s']:.4g}" for ending in shares.values()),
        )
    return table


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
    committed = "undelivered_committed_mbit_per_year"
    ends = [
        f"{name}{end}" for name in ("undelivered_mbit_per_year", committed) for end in ("", "_low", "_high")
    ]
    gigabits = undelivered.assign(**{name: undelivered[name] / 1000.0 for name in ends})
    for _, row in gigabits[gigabits["cause"] == "all"].iterrows():
        own = undelivered[(undelivered["priority"] == row["priority"]) & (undelivered["cause"] != "all")]
        table.add_row(
            f"{row['priority']}",
            interval_text(row, "undelivered_mbit_per_year"),
            f"{100 * row['share']:.3g} %",
            interval_text(row, committed),
            f"{100 * row['committed_share']:.3g} %",
            main_causes(own, committed),
        )
    return table


def _hops(results: Results, hops: "pd.DataFrame") -> "Table":
    shares = (
        results.tables["hop_modulations"].groupby(["hop", "states"])["share"].mean().unstack(fill_value=0)
    )
    modulations = [f"{int(states)}" if states else "down" for states in shares.columns]
    table = plain_table(
        "hops (share of time in each modulation, per cent)",
        ("hop", "scheme", "km", "GHz", "unavailable min/year", "textbook", *modulations),
        ("hop", "scheme"),
    )
    for _, row in hops.iterrows():
        own = shares.loc[row["hop"]]
        table.add_row(
            row["hop"],
            row["scheme"],
            f"{row['length_km']:.1f}",
            f"{row['frequency_ghz']:g}",
            interval_text(row, _MOST),
            f"{row['textbook_min_per_year']:.3g}",
            *(f"{100 * share:.4f}" if share else "-" for share in own),
        )
    return table
