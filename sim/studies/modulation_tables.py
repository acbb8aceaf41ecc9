"""Tables of a study of adaptive against fixed modulation, from the findings of its blocks."""

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sim.blocks.prepared import Prepared
from sim.counting.statistics import difference_interval, mean_interval, paired_difference
from sim.runs.summary_figures import SHARES, UNSEEN_OUTAGE_S, exceeded_rate, put_interval
from sim.studies.modulation_study import ADAPTIVE, BlockFindings, Finding

_Floats = NDArray[np.float64]
_Findings = Mapping[tuple[int, int], Finding]


def study_tables(
    prepared: Prepared, blocks: Sequence[BlockFindings], n_years: int
) -> dict[str, pd.DataFrame]:
    """Tables of a study by name.

    Parameters
    ----------
    prepared : Prepared
    blocks : sequence of BlockFindings
    n_years : int
        Years of a block.

    Returns
    -------
    dict of str to DataFrame
        ``hops`` and ``services``: one row for each hop (service) and modulation; ``states`` 0 is adaptive.
        Columns ``unavailable_min_per_year``, ``severely_errored_s_per_year``, ``mean_mbit_s``, each with
        its interval; percentiles ``mbit_s_99`` to ``mbit_s_99_999`` of the worse direction; fixed less
        adaptive, paired, ``difference_min_per_year`` and ``difference_mbit_s``; and for hops
        ``adaptive_below_min_per_year``, the time in which adaptive modulation has less than the fixed one
        at its best. ``hop_curves`` and ``service_curves``: share of time with at least each rate.
        ``service_modulations``: share of time at each lowest modulation along the working route.
    """
    hops = [design.hop.id for design in prepared.designs]
    services = [demand.id for demand in prepared.demands]
    by_hop, by_service = [block.hops for block in blocks], [block.services for block in blocks]
    return {
        "hops": _cases("hop", hops, by_hop, n_years),
        "hop_curves": _curves("hop", hops, by_hop),
        "services": _cases("service", services, by_service, n_years),
        "service_curves": _curves("service", services, by_service),
        "service_modulations": _route_modulations(services, blocks),
    }


def _cases(kind: str, names: Sequence[str], blocks: Sequence[_Findings], n_years: int) -> pd.DataFrame:
    rows = []
    for number, states in sorted(blocks[0]):
        found = [block[number, states] for block in blocks]
        adaptive = [block[number, ADAPTIVE] for block in blocks]
        row: dict[str, object] = {kind: names[number], "states": states}
        rate, at_least = _at_least(found)
        row["best_mbit_s"] = float(rate[0])
        minutes, before = _minutes(found, n_years), _minutes(adaptive, n_years)
        severe = np.array([each.severely_errored_s for each in found]) / n_years
        mean, mean_before = (np.array([each.mean_mbit_s for each in side]) for side in (found, adaptive))
        bound = UNSEEN_OUTAGE_S / 60.0 / n_years
        put_interval(row, "unavailable_min_per_year", mean_interval(minutes, largest_unseen=bound))
        put_interval(row, "severely_errored_s_per_year", mean_interval(severe, largest_unseen=10.0 / n_years))
        put_interval(row, "mean_mbit_s", difference_interval(mean))
        for ending, share in SHARES.items():
            row[f"mbit_s_{ending}"] = exceeded_rate(rate, at_least, share)
        put_interval(row, "difference_min_per_year", paired_difference(minutes, before))
        put_interval(row, "difference_mbit_s", paired_difference(mean, mean_before))
        if kind == "hop":
            below = np.array([_below_s(each, float(rate[0])) for each in adaptive]) / 60.0 / n_years
            put_interval(row, "adaptive_below_min_per_year", mean_interval(below, largest_unseen=bound))
        rows.append(row)
    return pd.DataFrame(rows)


def _minutes(found: Sequence[Finding], n_years: int) -> _Floats:
    return np.array([each.unavailable_s for each in found]) / 60.0 / n_years


def _below_s(found: Finding, rate_mbit_s: float) -> float:
    """Time with less than a rate, to the nearest kbit/s."""
    return float(found.seconds[found.rate_mbit_s < rate_mbit_s - 5e-4].sum())


def _at_least(found: Sequence[Finding]) -> tuple[_Floats, _Floats]:
    """Rates [Mbit/s], falling, and the share of the time with at least each."""
    rate, where = np.unique(np.concatenate([each.rate_mbit_s for each in found]), return_inverse=True)
    seconds = np.bincount(where, weights=np.concatenate([each.seconds for each in found]))
    met = seconds > 0.0
    falling = seconds[met][::-1]
    return rate[met][::-1], np.cumsum(falling) / falling.sum()


def _curves(kind: str, names: Sequence[str], blocks: Sequence[_Findings]) -> pd.DataFrame:
    parts = []
    for number, states in sorted(blocks[0]):
        rate, at_least = _at_least([block[number, states] for block in blocks])
        parts.append(
            pd.DataFrame({kind: names[number], "states": states, "mbit_s": rate, "exceeded_share": at_least})
        )
    columns = [kind, "states", "mbit_s", "exceeded_share"]
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=columns)


def _route_modulations(services: Sequence[str], blocks: Sequence[BlockFindings]) -> pd.DataFrame:
    rows = []
    for number in sorted(blocks[0].route_states):
        spent: dict[int, float] = {}
        for block in blocks:
            for states, seconds in zip(*block.route_states[number], strict=True):
                spent[int(states)] = spent.get(int(states), 0.0) + float(seconds)
        whole = sum(spent.values())
        rows += [
            {"service": services[number], "states": states, "share": spent[states] / whole}
            for states in sorted(spent)
        ]
    return pd.DataFrame(rows, columns=["service", "states", "share"])
