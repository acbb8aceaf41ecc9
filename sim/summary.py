"""From the tallies of a run's blocks to its tables of results."""

from collections.abc import Sequence

import numpy as np
import pandas as pd
import pyarrow as pa
from numpy.typing import NDArray

from sim.block_tally import run_of
from sim.predict import predict_hops, predict_services
from sim.prepared import Prepared
from sim.statistics import Interval, count_interval, mean_interval
from sim.store import RunFolder
from sim.tallies import Tally, add_tallies
from sim.tally_rows import BOTH, N_BINS

SHARES = {"99": 0.99, "99_9": 0.999, "99_99": 0.9999, "99_999": 0.99999}
"""Shares of time for which a rate is exceeded, by the ending of the column."""

UNSEEN_OUTAGE_S = 4 * 3600.0
"""Length assumed of an outage where none was seen, for the upper bound (common practice, no source: the
time to restore an attended site)."""

FORWARD, BACKWARD = 0, 1


def summarise(prepared: Prepared, folder: RunFolder) -> dict[str, pa.Table]:
    """Tables of results of all finished blocks of a run."""
    stored = [folder.read_block(number) for number in folder.finished_blocks()]
    blocks = read_tallies(prepared, folder)
    total = add_tallies(blocks)
    frames = {
        "services": service_table(prepared, blocks, total),
        "service_causes": cause_table(prepared, total, "service"),
        "service_months": month_table(total),
        "service_throughput": throughput_table(prepared, total),
        "hops": hop_table(prepared, blocks, total),
        "hop_causes": hop_cause_table(total),
        "hop_modulations": modulation_table(prepared, total),
        "hop_capacity": capacity_table(total),
        "sites": site_table(prepared),
        "part_failures": failure_table(stored, "failures_kind", "kind", total.years),
        "site_failures": failure_table(stored, "failures_site", "site", total.years),
        "crew_visits": failure_table(stored, "failures_crew", "crew", total.years),
    }
    return {name: pa.Table.from_pandas(frame, preserve_index=False) for name, frame in frames.items()}


def read_tallies(prepared: Prepared, folder: RunFolder) -> list[Tally]:
    """Tally of each finished block of a run, in order."""
    manifest = folder.manifest()
    run = run_of(prepared, manifest["identity"], manifest["block_years"])
    return [Tally.from_arrow(run, [number], folder.read_block(number)) for number in folder.finished_blocks()]


def per_block(blocks: Sequence[Tally], table: str, value: str, n: int, **fixed: int) -> NDArray[np.float64]:
    """One value of every entity in every block, shape (n_blocks, n_entities)."""
    return np.array([tally.tables[table].spread(value, (n,), **fixed) for tally in blocks])


def _with_interval(row: dict[str, object], name: str, interval: Interval) -> None:
    row[name], row[f"{name}_low"], row[f"{name}_high"] = interval.best, interval.low, interval.high


def _outage_columns(blocks: Sequence[Tally], total: Tally, kind: str, n: int) -> list[dict[str, object]]:
    """Unavailability, severely errored seconds and outages of each entity, both ways together."""
    table, years = f"{kind}_total", blocks[0].years
    seconds = per_block(blocks, table, "unavailable_s", n, direction=BOTH)
    severe = per_block(blocks, table, "severely_errored_s", n, direction=BOTH)
    outages = total.tables[table].spread("outages", (n,), direction=BOTH)
    longest = _largest(total, table, n)
    summed = seconds.sum(axis=0)
    rows: list[dict[str, object]] = []
    for i in range(n):
        row: dict[str, object] = {}
        minutes = mean_interval(seconds[:, i] / 60.0 / years, largest_unseen=UNSEEN_OUTAGE_S / 60.0 / years)
        _with_interval(row, "unavailable_min_per_year", minutes)
        row["availability"] = 1.0 - float(summed[i]) / 60.0 / total.years / 525_960.0
        errored = mean_interval(severe[:, i] / years, largest_unseen=10.0 / years)
        _with_interval(row, "severely_errored_s_per_year", errored)
        _with_interval(row, "outages_per_year", count_interval(int(outages[i]), total.years))
        row["mean_outage_s"] = float(summed[i] / outages[i]) if outages[i] else 0.0
        row["longest_outage_s"] = float(longest[i])
        rows.append(row)
    return rows


def _largest(total: Tally, table: str, n: int) -> NDArray[np.float64]:
    return total.tables[table].spread("longest_outage_s", (n,), direction=BOTH)


def service_table(prepared: Prepared, blocks: Sequence[Tally], total: Tally) -> pd.DataFrame:
    """One row a service."""
    services = prepared.network.services
    n = len(services)
    outages = _outage_columns(blocks, total, "service", n)
    worst = _worst_months(total, n)
    one_way = [
        total.tables["service_total"].spread("unavailable_s", (n,), direction=d) / 60.0 / total.years
        for d in (FORWARD, BACKWARD)
    ]
    errored = total.tables["service_total"].spread("errored_s", (n,), direction=BOTH) / total.years
    delivered = np.array(
        [total.tables["service_traffic"].spread("delivered_mbit", (n,), direction=d) for d in (0, 1)]
    ).min(axis=0)
    textbook = predict_services(prepared)["total_min_per_year"].to_numpy(dtype=np.float64)
    rows = []
    for i, (service, demand) in enumerate(zip(services, prepared.demands, strict=True)):
        hops = [link for link, _ in demand.routes[0] if link < len(prepared.designs)]
        row: dict[str, object] = {
            "service": service.id,
            "from": service.site_a,
            "to": service.site_b,
            "committed_mbit_s": service.committed_mbit_s,
            "peak_mbit_s": service.full_rate_mbit_s,
            "priority": service.priority,
            "protection": service.protection,
            "hops": len(hops),
            **outages[i],
            "errored_s_per_year": float(errored[i]),
            "worst_month_unavailable_min": float(worst[i]),
            "forward_unavailable_min_per_year": float(one_way[0][i]),
            "backward_unavailable_min_per_year": float(one_way[1][i]),
            "mean_throughput_mbit_s": float(delivered[i] / total.years / 31_557_600.0),
        }
        rates, at_least = _throughput(total, i, service.full_rate_mbit_s, BOTH)
        for ending, share in SHARES.items():
            row[f"throughput_{ending}_mbit_s"] = _exceeded(rates, at_least, share)
        row["textbook_min_per_year"] = float(textbook[i])
        rows.append(row)
    return pd.DataFrame(rows)


def _worst_months(total: Tally, n: int) -> NDArray[np.float64]:
    """Average over the years of the worst calendar month's unavailable minutes."""
    table = total.tables["service_month"]
    years = {block: i for i, block in enumerate(total.blocks)}
    per_block_years = total.years // len(total.blocks)
    minutes = np.zeros((n, len(total.blocks) * per_block_years, 12))
    here = table.key("direction") == BOTH
    row = np.array([years[int(b)] for b in table.key("block")[here]], dtype=np.int64) * per_block_years
    row = row + table.key("year")[here]
    at = (table.key("entity")[here], row, table.key("month")[here])
    np.add.at(minutes, at, table.value("unavailable_s")[here] / 60.0)
    return np.asarray(minutes.max(axis=2).mean(axis=1))


def _throughput(
    total: Tally, entity: int, peak_mbit_s: float, direction: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Rates [Mbit/s], falling, and the share of time with at least each."""
    table = total.tables["service_throughput"]
    seconds = table.spread("seconds", (N_BINS + 1,), entity=entity, direction=direction)
    rates = peak_mbit_s * np.arange(N_BINS, -1, -1) / N_BINS
    return rates, np.cumsum(seconds[::-1]) / seconds.sum()


def _exceeded(rates: NDArray[np.float64], at_least: NDArray[np.float64], share: float) -> float:
    """Largest rate that is had for at least a share of the time."""
    return float(rates[np.searchsorted(at_least, share - 1e-12)])


def cause_table(prepared: Prepared, total: Tally, kind: str) -> pd.DataFrame:
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


def month_table(total: Tally) -> pd.DataFrame:
    """Unavailable minutes of each calendar month (1 to 12), mean over the years."""
    frame = total.to_frame("service_month")
    frame = frame[frame["direction"] == "both"]
    summed = frame.groupby(["service", "month"], sort=False)["unavailable_s"].sum().reset_index()
    summed["month"] += 1
    summed["unavailable_min_per_year"] = summed.pop("unavailable_s") / 60.0 / total.years
    return summed


def throughput_table(prepared: Prepared, total: Tally) -> pd.DataFrame:
    """Share of time with at least each rate, per service and direction; only rates that occur."""
    parts = []
    for i, service in enumerate(prepared.network.services):
        for direction, name in enumerate(("forward", "backward")):
            rates, at_least = _throughput(total, i, service.full_rate_mbit_s, direction)
            steps = np.flatnonzero(np.diff(at_least, prepend=0.0) > 0.0)
            parts.append(
                pd.DataFrame(
                    {
                        "service": service.id,
                        "direction": name,
                        "rate_mbit_s": rates[steps],
                        "exceeded_share": at_least[steps],
                    }
                )
            )
    columns = ["service", "direction", "rate_mbit_s", "exceeded_share"]
    return pd.concat(parts) if parts else pd.DataFrame(columns=columns)


def hop_table(prepared: Prepared, blocks: Sequence[Tally], total: Tally) -> pd.DataFrame:
    """One row a hop."""
    outages = _outage_columns(blocks, total, "hop", len(prepared.designs))
    curves = dict(iter(capacity_table(total).groupby(["hop", "direction"], sort=False)))
    predicted = predict_hops(prepared).groupby("hop", sort=False)["total_min_per_year"].first()
    textbook = dict(zip(predicted.index, predicted.to_numpy(dtype=np.float64), strict=True))
    rows = []
    for i, design in enumerate(prepared.designs):
        hop = design.hop
        both = [curves[hop.id, direction] for direction in ("forward", "backward")]
        row: dict[str, object] = {
            "hop": hop.id,
            "from": hop.site_a,
            "to": hop.site_b,
            "scheme": hop.scheme,
            "length_km": design.length_km,
            "frequency_ghz": hop.frequency_ghz,
            "capacity_mbit_s": max(float(curve["capacity_mbit_s"].max()) for curve in both),
            **outages[i],
            "mean_capacity_mbit_s": min(_mean_capacity(curve) for curve in both),
        }
        for ending, share in SHARES.items():
            row[f"capacity_{ending}_mbit_s"] = min(
                _exceeded(curve["capacity_mbit_s"].to_numpy(), curve["exceeded_share"].to_numpy(), share)
                for curve in both
            )
        row["textbook_min_per_year"] = float(textbook[hop.id])
        rows.append(row)
    return pd.DataFrame(rows)


def _mean_capacity(curve: pd.DataFrame) -> float:
    shares = np.diff(curve["exceeded_share"].to_numpy(), prepend=0.0)
    return float(curve["capacity_mbit_s"].to_numpy() @ shares)


def capacity_table(total: Tally) -> pd.DataFrame:
    """Share of time with at least each capacity, per hop and direction, from the highest down."""
    frame = total.to_frame("hop_capacity")
    frame = frame.sort_values(["hop", "direction", "capacity_kbit_s"], ascending=[True, True, False])
    groups = frame.groupby(["hop", "direction"], sort=False)["seconds"]
    return pd.DataFrame(
        {
            "hop": frame["hop"],
            "direction": frame["direction"],
            "capacity_mbit_s": frame["capacity_kbit_s"] / 1000.0,
            "exceeded_share": groups.cumsum() / groups.transform("sum"),
        }
    )


def hop_cause_table(total: Tally) -> pd.DataFrame:
    """Time below full capacity and unavailable time of each hop by exact set of causes."""
    below = total.to_frame("hop_state_cause")
    lost = total.to_frame("hop_cause")
    seconds = below.loc[below["causes"] != 0, ["hop", "cause", "seconds"]]
    unavailable = lost.loc[lost["direction"] == "both", ["hop", "cause", "unavailable_s"]]
    joined = pd.concat([frame.astype({"hop": str}) for frame in (seconds, unavailable)]).fillna(0.0)
    summed = joined.groupby(["hop", "cause"], as_index=False)[["seconds", "unavailable_s"]].sum()
    return pd.DataFrame(
        {
            "hop": summed["hop"],
            "cause": summed["cause"],
            "seconds_per_year": summed["seconds"] / total.years,
            "unavailable_min_per_year": summed["unavailable_s"] / 60.0 / total.years,
        }
    ).sort_values(["hop", "seconds_per_year"], ascending=[True, False], kind="stable")


def modulation_table(prepared: Prepared, total: Tally) -> pd.DataFrame:
    """Share of channel time in each modulation, by its number of states; 0 states is down."""
    frame = total.to_frame("hop_level")
    states = {
        design.hop.id: np.concatenate(([0], design.steps.states)).tolist() for design in prepared.designs
    }
    whole = frame.groupby(["hop", "direction"], sort=False)["channel_seconds"].transform("sum")
    return pd.DataFrame(
        {
            "hop": frame["hop"],
            "direction": frame["direction"],
            "states": [states[hop][level] for hop, level in zip(frame["hop"], frame["level"], strict=True)],
            "share": frame["channel_seconds"] / whole,
        }
    )


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


def failure_table(stored: Sequence[dict[str, pa.Table]], table: str, name: str, years: int) -> pd.DataFrame:
    """Failures a year of each row, and hours a year in each phase."""
    frames = [tables[table].to_pandas() for tables in stored]
    summed = sum((frame.drop(columns=name) for frame in frames[1:]), frames[0].drop(columns=name)) / years
    result = pd.DataFrame({name: frames[0][name]})
    for column in summed.columns:
        if column.endswith("_s"):
            result[f"{column.removesuffix('_s')}_h_per_year"] = summed[column] / 3600.0
        else:
            result[f"{column}_per_year"] = summed[column]
    return result
