"""From the tallies of a run's blocks to its tables of results."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pyarrow as pa

from hopyears.models.basics.arrays import Floats
from hopyears.models.basics.calendar import MONTH_SECONDS, date_of
from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.sim.blocks.block_tally import run_of
from hopyears.sim.blocks.prepared import Prepared
from hopyears.sim.counting.figures import (
    BACKWARD,
    FORWARD,
    SHARES,
    UNSEEN_OUTAGE_S,
    exceeded_rate,
    longest_outages_s,
    outage_columns,
    per_block,
    put_interval,
)
from hopyears.sim.counting.result_tables import columns_of
from hopyears.sim.counting.statistics import mean_interval
from hopyears.sim.counting.tallies import TABLES, Tally
from hopyears.sim.counting.tally_rows import BOTH
from hopyears.sim.money.network_costs import cost_frame, cost_rows, run_rows, terms_of
from hopyears.sim.money.service_money import service_money
from hopyears.sim.rare.cause_figures import cause_seconds
from hopyears.sim.rare.hop_figures import hop_intervals
from hopyears.sim.rare.service_figures import UNAVAILABLE, ServiceFigures
from hopyears.sim.rare.year_tables import YearTables
from hopyears.sim.runs.blocks_seen import MOST_OF_A_SERVICE, BlocksSeen, month_table
from hopyears.sim.runs.direction_table import direction_table
from hopyears.sim.runs.objective_table import objective_table
from hopyears.sim.runs.single_years import year_tables
from hopyears.sim.runs.summary_failures import failure_frames
from hopyears.sim.runs.summary_hops import capacity_table, hop_cause_table, hop_table, modulation_table
from hopyears.sim.runs.summary_traffic import (
    BELOW_COMMITTED,
    below_committed,
    planned_minutes,
    priority_table,
    throughput_shares,
    throughput_table,
    undelivered_table,
)
from hopyears.sim.runs.textbook_distance import distance_table
from hopyears.sim.storage.run_folder import RunFolder
from hopyears.sim.textbook.predict import predict_hops, predict_services

__all__ = ["SHARES", "UNSEEN_OUTAGE_S", "per_block", "read_tallies", "summarise"]


def summarise(prepared: Prepared, folder: RunFolder) -> dict[str, pa.Table]:
    """Tables of results of all finished blocks of a run."""
    # First: its years and the figures below are never held together.
    by_year = year_tables([demand.id for demand in prepared.demands], YearTables(folder))
    seen = BlocksSeen.read(prepared, folder)
    blocks, total = seen.blocks, seen.total
    predicted_hops = predict_hops(prepared)
    predicted = predict_services(prepared, predicted_hops)
    figures = ServiceFigures.read(prepared, folder)
    causes = cause_seconds(total, folder, prepared.options.replications, figures)
    total = replace(total, tables={**total.tables, "service_cause": causes})
    services = service_table(prepared, seen, total, predicted, figures)
    failures, network = failure_frames(seen.failures, total), prepared.network
    bill = [*cost_rows(network), *run_rows(network, failures["crew_visits"], failures["part_failures"])]
    frames = {
        "services": services,
        "service_directions": direction_table(prepared, blocks, figures),
        "service_causes": cause_table(total, "service"),
        "service_months": month_table(total, seen.months),
        "longest_outages": longest_outages(total, folder.manifest()["block_years"]),
        "service_throughput": throughput_table(prepared, total),
        "service_undelivered": undelivered_table(total),
        "priority_undelivered": priority_table(prepared, blocks),
        "service_objectives": objective_table(prepared, services, figures),
        **by_year,
        "textbook_distance": distance_table(prepared, folder, predicted, figures),
        "hops": hop_table(prepared, total, predicted_hops, hop_intervals(prepared, folder, blocks)),
        "hop_causes": hop_cause_table(total),
        "hop_modulations": modulation_table(prepared, total),
        "hop_capacity": capacity_table(total),
        "sites": site_table(prepared),
        **failures,
        "costs": cost_frame(bill, terms_of(network)),
        "service_money": service_money(network, blocks, YearTables(folder)),
    }
    return {name: pa.Table.from_pandas(frame, preserve_index=False) for name, frame in frames.items()}


def read_tallies(prepared: Prepared, folder: RunFolder) -> list[Tally]:
    """Tally of each finished block of a run, in order."""
    manifest = folder.manifest()
    run = run_of(prepared, manifest["identity"], manifest["block_years"])
    blocks = folder.finished_blocks()
    return [Tally.from_arrow(run, [number], folder.read_block(number, *TABLES)) for number in blocks]


def service_table(
    prepared: Prepared, seen: BlocksSeen, total: Tally, predicted: pd.DataFrame, figures: ServiceFigures
) -> pd.DataFrame:
    """One row a service; ``predicted`` is what ``predict_services`` says of them."""
    services = prepared.network.services
    n = len(services)
    longest_s = longest_outages_s(total, "service", n)
    worst_min = seen.worst_month_s / 60.0
    errored = total.tables["service_total"].spread("errored_s", (n,), direction=BOTH) / total.years
    delivered = np.array(
        [total.tables["service_traffic"].spread("delivered_mbit", (n,), direction=d) for d in (0, 1)]
    ).min(axis=0)
    planned, below = planned_minutes(total, n), below_committed(seen.blocks, n, BOTH)
    textbook = predicted["total_min_per_year"].to_numpy(dtype=np.float64)
    rows = []
    for i, (service, demand) in enumerate(zip(services, prepared.demands, strict=True)):
        row: dict[str, object] = {
            "service": service.id,
            "from": service.site_a,
            "to": service.site_b,
            "committed_mbit_s": service.committed_mbit_s,
            "committed_backward_mbit_s": service.committed_ways_mbit_s[BACKWARD],
            "peak_mbit_s": service.full_rate_mbit_s,
            "peak_backward_mbit_s": service.full_ways_mbit_s[BACKWARD],
            "priority": service.priority,
            "protection": service.protection,
            "hops": len(prepared.hops_along(demand.routes[0])),
            **outage_columns(figures.intervals(i), float(longest_s[i])),
            "planned_min_per_year": float(planned[i]),
            "errored_s_per_year": float(errored[i]),
            **_worst_month(worst_min[:, i], seen.blocks[0].years),
            "forward_unavailable_min_per_year": figures.interval(i, UNAVAILABLE, way=FORWARD).best / 60.0,
            "backward_unavailable_min_per_year": figures.interval(i, UNAVAILABLE, way=BACKWARD).best / 60.0,
            "mean_throughput_mbit_s": float(delivered[i] / total.years / SECONDS_PER_YEAR),
        }
        rates, at_least = throughput_shares(total, i, min(service.full_ways_mbit_s), BOTH)
        for ending, share in SHARES.items():
            row[f"throughput_{ending}_mbit_s"] = exceeded_rate(rates, at_least, share)
        put_interval(row, BELOW_COMMITTED, below[i])
        row["textbook_min_per_year"] = float(textbook[i])
        rows.append(row)
    return pd.DataFrame(rows)


def _worst_month(minutes: Floats, block_years: int) -> dict[str, object]:
    """Mean over the years of each year's worst month, from its mean in each block, shape (n_blocks,)."""
    row: dict[str, object] = {}
    bound = UNSEEN_OUTAGE_S / 60.0 / block_years
    found = mean_interval(minutes, largest_unseen=bound).within(0.0, MONTH_SECONDS.max() / 60.0)
    put_interval(row, "worst_month_unavailable_min", found)
    return row


def cause_table(total: Tally, kind: str) -> pd.DataFrame:
    """Unavailable minutes and severely errored seconds a year by exact set of causes, both ways together."""
    frame = total.to_frame(f"{kind}_cause")
    frame = frame[frame["direction"] == "both"]
    minutes = frame["unavailable_s"] / 60.0 / total.years
    whole = minutes.groupby(frame[kind]).transform("sum")
    table = pd.DataFrame(
        {
            kind: frame[kind],
            "cause": frame["cause"],
            "unavailable_min_per_year": minutes,
            "severely_errored_s_per_year": frame["severely_errored_s"] / total.years,
            "share": np.where(whole > 0, minutes / whole.where(whole > 0, 1.0), 0.0),
        }
    )
    return table.sort_values([kind, "unavailable_min_per_year"], ascending=[True, False], kind="stable")


def site_table(prepared: Prepared) -> pd.DataFrame:
    """Where the sites are."""
    return pd.DataFrame(
        {
            "site": [site.id for site in prepared.network.sites],
            "latitude_deg": [site.latitude_deg for site in prepared.network.sites],
            "longitude_deg": [site.longitude_deg for site in prepared.network.sites],
            "east_km": [x for x, _ in prepared.site_km],
            "north_km": [y for _, y in prepared.site_km],
        }
    )


def longest_outages(total: Tally, block_years: int) -> pd.DataFrame:
    """Up to ``MOST_OF_A_SERVICE`` outages of each service, the longest first; number 1 is the longest.

    Parameters
    ----------
    total : Tally
        Of all blocks.
    block_years : int
        Years of a block, at least 1.
    """
    frame = total.to_frame("service_outage")
    frame = frame.sort_values(
        ["duration_s", "block", "start_s"], ascending=[False, True, True], kind="stable"
    )
    frame = frame.groupby("service", sort=False).head(MOST_OF_A_SERVICE)
    frame = frame.sort_values("service", kind="stable")
    frame["number"] = frame.groupby("service", sort=False).cumcount() + 1
    dates = zip(frame["block"], frame["start_s"], strict=True)
    frame["began"] = [str(date_of(start, first_year=1 + block * block_years)) for block, start in dates]
    return frame[columns_of("longest_outages")].reset_index(drop=True)
