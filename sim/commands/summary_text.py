"""Readable summary of a run for the terminal."""

from sim.commands import CAUTION
from sim.runs.results import Results

WORST_CAUSES = 3


def print_summary(results: Results) -> None:
    """Print services with intervals and main causes, hops, and the share of time in each modulation."""
    from rich.console import Console

    console = Console(width=None if Console().is_terminal else 180)
    manifest = results.manifest
    console.print(
        "{title}: {years} years, seed {seed}, run {identity}".format_map(manifest),
        highlight=False,
        markup=False,
    )
    if len(results.services):
        console.print(_services(results), markup=False)
        console.print(_objectives(results), markup=False)
        if len(results.tables["service_controlled"]):
            console.print(_controlled(results), markup=False)
    console.print(_hops(results), markup=False)
    console.print("95 % intervals in brackets; '<' where nothing was seen.", highlight=False, markup=False)
    console.print(CAUTION, highlight=False, markup=False)


def _table(title: str, columns: tuple[str, ...], right: int):  # type: ignore[no-untyped-def]
    from rich.table import Table

    table = Table(title=title, title_justify="left", header_style="", show_edge=False, pad_edge=False)
    for number, column in enumerate(columns):
        table.add_column(column, justify="right" if number >= right else "left")
    return table


def interval_text(row, name: str) -> str:  # type: ignore[no-untyped-def]
    """``12.3 [10.1 .. 14.9]``, or ``< 0.4`` where nothing was seen."""
    if row[name] == 0:
        return f"< {row[f'{name}_high']:.3g}"
    return f"{row[name]:.3g} [{row[f'{name}_low']:.3g} .. {row[f'{name}_high']:.3g}]"


def _services(results: Results):  # type: ignore[no-untyped-def]
    table = _table(
        "services",
        (
            "service",
            "main causes",
            "unavailable min/year",
            "availability %",
            "SES/year",
            "outages/year",
            "mean s",
            "longest h",
            "worst month min",
            "Mbit/s 99.9 %",
            "99.99 %",
            "99.999 %",
            "textbook min/year",
        ),
        2,
    )
    causes = results.tables["service_causes"]
    for _, row in results.services.iterrows():
        own = causes[causes["service"] == row["service"]].head(WORST_CAUSES)
        main = ", ".join(
            f"{cause} {share:.0%}" for cause, share in zip(own["cause"], own["share"], strict=True)
        )
        table.add_row(
            row["service"],
            main or "-",
            interval_text(row, "unavailable_min_per_year"),
            f"{100 * row['availability']:.4f}",
            f"{row['severely_errored_s_per_year']:.3g}",
            f"{row['outages_per_year']:.3g}",
            f"{row['mean_outage_s']:.0f}",
            f"{row['longest_outage_s'] / 3600:.1f}",
            f"{row['worst_month_unavailable_min']:.3g}",
            f"{row['throughput_99_9_mbit_s']:.4g}",
            f"{row['throughput_99_99_mbit_s']:.4g}",
            f"{row['throughput_99_999_mbit_s']:.4g}",
            f"{row['textbook_min_per_year']:.3g}",
        )
    return table


def _objectives(results: Results):  # type: ignore[no-untyped-def]
    """Objectives of the Recommendations, met or not, and what years look like."""
    table = _table(
        "objectives (F.1703 and F.1668, coefficients from memory) and years",
        (
            "service",
            "portion",
            "km",
            "allowed min/year",
            "met (how sure)",
            "allowed SES ratio",
            "found",
            "met (how sure)",
            "median year min",
            "9 of 10 years within min",
            "a year breaks 99.99 %",
        ),
        2,
    )
    years = results.tables["service_years"].pivot(
        index="service", columns="share_of_years", values="unavailable_min"
    )
    targets = results.tables["service_targets"]
    breaks = targets[targets["availability"] == 0.9999].set_index("service")["year_break_chance"]
    for _, row in results.tables["service_objectives"].iterrows():
        table.add_row(
            row["service"],
            row["portion"],
            f"{row['length_km']:.1f}",
            f"{row['allowed_min_per_year']:.4g}",
            _met(row, "availability"),
            f"{row['severely_errored_ratio_objective']:.2g}",
            f"{row['severely_errored_ratio']:.2g}",
            _met(row, "severely_errored"),
            f"{years.loc[row['service'], 0.5]:.3g}",
            f"{years.loc[row['service'], 0.9]:.3g}",
            f"{breaks[row['service']]:.1%}",
        )
    return table


def _met(row, name: str) -> str:  # type: ignore[no-untyped-def]
    """Whether an objective is met, and how sure that is."""
    sure = row[f"{name}_met_confidence"]
    return f"{'yes' if row[f'{name}_met'] else 'no'} ({min(sure, 0.999):.1%})"


def _controlled(results: Results):  # type: ignore[no-untyped-def]
    """Figures that the run's control makes surer."""
    table = _table(
        "unavailable min/year, put right by what the blocks met (--control)",
        ("service", "plain", "put right", "saves years, times"),
        1,
    )
    for _, row in results.tables["service_controlled"].iterrows():
        table.add_row(
            row["service"],
            interval_text(row, "unavailable_min_per_year"),
            interval_text(row, "unavailable_min_per_year_controlled"),
            f"{row['saving']:.3g}",
        )
    return table


def _hops(results: Results):  # type: ignore[no-untyped-def]
    shares = (
        results.tables["hop_modulations"].groupby(["hop", "states"])["share"].mean().unstack(fill_value=0)
    )
    modulations = [f"{int(states)}" if states else "down" for states in shares.columns]
    table = _table(
        "hops (share of time in each modulation, per cent)",
        ("hop", "scheme", "km", "GHz", "unavailable min/year", "textbook", *modulations),
        2,
    )
    for _, row in results.hops.iterrows():
        own = shares.loc[row["hop"]]
        table.add_row(
            row["hop"],
            row["scheme"],
            f"{row['length_km']:.1f}",
            f"{row['frequency_ghz']:g}",
            interval_text(row, "unavailable_min_per_year"),
            f"{row['textbook_min_per_year']:.3g}",
            *(f"{100 * share:.4f}" if share else "-" for share in own),
        )
    return table
