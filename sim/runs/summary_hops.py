"""Tables of results of the hops."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from hopyears.sim.blocks.prepared import Prepared
from hopyears.sim.counting.figures import SHARES, exceeded_rate, longest_outages_s, outage_columns
from hopyears.sim.counting.statistics import Interval
from hopyears.sim.counting.tallies import Tally


def hop_table(
    prepared: Prepared, total: Tally, predicted: pd.DataFrame, outages: Sequence[Sequence[Interval]]
) -> pd.DataFrame:
    """One row a hop, and after them one a bundle.

    ``predicted`` is what ``predict_hops`` gives, ``outages`` what ``hop_intervals`` does.
    """
    longest_s = longest_outages_s(total, "hop", len(outages))
    curves = {
        of: (curve["capacity_mbit_s"].to_numpy(), curve["exceeded_share"].to_numpy())
        for of, curve in capacity_table(total).groupby(["hop", "direction"], sort=False)
    }
    totals = predicted.groupby("hop", sort=False)["total_min_per_year"].first()
    textbook = dict(zip(totals.index, totals.to_numpy(dtype=np.float64), strict=True))
    rows = []
    for i, (name, hops) in enumerate([*_single(prepared), *prepared.bundles.items()]):
        first = prepared.designs[hops[0]]
        both = [curves[name, direction] for direction in ("forward", "backward")]
        row: dict[str, object] = {
            "hop": name,
            "from": first.hop.site_a,
            "to": first.hop.site_b,
            "scheme": first.hop.scheme if len(hops) == 1 else f"bundle of {len(hops)}",
            "length_km": first.path.length_km,
            "frequency_ghz": min(prepared.designs[hop].hop.frequency_ghz for hop in hops),
            "capacity_mbit_s": max(float(capacity.max()) for capacity, _ in both),
            **outage_columns(outages[i], float(longest_s[i])),
            "mean_capacity_mbit_s": min(
                float(capacity @ np.diff(share, prepend=0.0)) for capacity, share in both
            ),
        }
        for ending, share in SHARES.items():
            row[f"capacity_{ending}_mbit_s"] = min(exceeded_rate(*curve, share) for curve in both)
        row["textbook_min_per_year"] = float(textbook.get(name, np.nan))
        rows.append(row)
    return pd.DataFrame(rows)


def _single(prepared: Prepared) -> list[tuple[str, tuple[int, ...]]]:
    return [(design.hop.id, (index,)) for index, design in enumerate(prepared.designs)]


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
