"""Readable summary of a run for the terminal."""

from typing import TYPE_CHECKING

from sim.commands import CAUTION
from sim.commands.failures_text import OUTAGE_SHARE_NOTE, failure_tables_text
from sim.commands.shown import (
    interval_text,
    main_causes,
    plain_table,
    say,
    say_left_out,
    shown_rows,
    sure_text,
    terminal,
)
from sim.runs.results import Results

if TYPE_CHECKING:
    import pandas as pd
    from rich.table import Table

_MOST = "unavailable_min_per_year"


def print_summary(results: Results, *, every_row: bool = False) -> None:
    """Print services with intervals and main causes, objectives, rates, and hops with their modulations.

    Of more rows than ``ROWS_SHOWN`` only the worst are printed unless ``every_row``.
    """
    console = terminal(180)
    say(console, "{title}: {years} years, seed {seed}, run {identity}".format_map(dict(results.manifest)))
    if len(results.services):
        services = shown_rows(results.services, _MOST, every_row=every_row)
        named = list(services["service"])
        tables = [_services(results, services), _objectives(results, named), _rates(services)]
        if len(results.tables["service_controlled"]):
            tables.append(_controlled(results, named))
        for table in tables:
            console.print(table, markup=False)
        say_left_out(console, len(results.services), "services", every_row=every_row)
        console.print(_priorities(results.tables["priority_undelivered"]), markup=False)
    console.print(_hops(results, shown_rows(results.hops, _MOST, every_row=every_row)), markup=False)
    say_left_out(console, len(results.hops), "hops", every_row=every_row)
    if results.manifest["options"]["failures"]:
        for table in failure_tables_text(results, every_row=every_row):
            console.print(table, markup=False)
        say(console, OUTAGE_SHARE_NOTE)
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


def _objectives(results: Results, named: list[str]) -> "Table":
    """Objectives of the Recommendations, met or not, and what years look like."""
    title = "objectives (F.1703 and F.1668, coefficients from memory) and single years"
    columns = (
        "service",
        "portion",
        "km",
        "allowed min/year",
        "met (how sure)",
        "allowed SES ratio",
        "found",
        "met (how sure)",
        "median year min",
        "9 of 10 years within",
        "a year breaks 99.99 %",
    )
    table = plain_table(title, columns, ("service", "portion"))
    quantiles, targets = results.tables["service_years"], results.tables["service_targets"]
    half, most = (
        quantiles[quantiles["share_of_years"] == share].set_index("service")["unavailable_min"]
        for share in (0.5, 0.9)
    )
    breaks = _by_service(targets[targets["availability"] == 0.9999])
    objectives = _by_service(results.tables["service_objectives"])
    for service in named:
        row, chance = objectives[service], breaks[service]
        limits = [100.0 * float(chance[f"year_break_chance{end}"]) for end in ("", "_low", "_high")]
        table.add_row(
            service,
            row["portion"].removeprefix("national "),
            f"{row['length_km']:.1f}",
            f"{row['allowed_min_per_year']:.4g}",
            _met(row, "availability"),
            f"{row['severely_errored_ratio_objective']:.2g}",
            f"{row['severely_errored_ratio']:.2g}",
            _met(row, "severely_errored"),
            f"{half[service]:.3g}",
            f"{most[service]:.3g}",
            f"{limits[0]:.0f}% [{limits[1]:.0f} .. {limits[2]:.0f}]",
        )
    return table


def _by_service(table: "pd.DataFrame") -> "dict[str, pd.Series]":
    return {row["service"]: row for _, row in table.iterrows()}


def _met(row: "pd.Series", name: str) -> str:
    """Whether an objective is met, and how sure that is."""
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


def _controlled(results: Results, named: list[str]) -> "Table":
    """Figures that the run's control makes surer."""
    table = plain_table(
        "unavailable min/year, put right by what the blocks met (--control)",
        ("service", "plain", "put right", "saves years, times"),
        ("service",),
    )
    controlled = results.tables["service_controlled"]
    for _, row in controlled[controlled["service"].isin(named)].iterrows():
        table.add_row(
            row["service"],
            interval_text(row, _MOST),
            interval_text(row, "unavailable_min_per_year_controlled"),
            f"{row['saving']:.3g}",
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
