"""Long-run chances of continuous-time Markov chains: any, from its rates; and those of repairable parts."""

from collections.abc import Hashable, Mapping

import numpy as np
from quantecon.markov import gth_solve

from hopyears.models.basics.units import HOURS_PER_YEAR


def long_run(rates: Mapping[tuple[Hashable, Hashable], float]) -> dict[Hashable, float]:
    """Chance of each state, given the rate of each transition.

    Solved by quantecon's Grassmann-Taksar-Heyman elimination, which subtracts nothing and so keeps small
    chances to full relative precision.
    """
    states = sorted({state for pair in rates for state in pair}, key=str)
    index = {state: i for i, state in enumerate(states)}
    generator = np.zeros((len(states), len(states)))
    for (start, end), rate in rates.items():
        generator[index[start], index[end]] += rate
        generator[index[start], index[start]] -= rate
    return dict(zip(states, gth_solve(generator).tolist(), strict=True))


def pair_chances(mtbf_h: float, mttr_h: float, *, crews: int, cold: bool = False) -> dict[Hashable, float]:
    """Chance of 2, 1 and 0 parts up of two like parts; the idle one cannot fail where ``cold``."""
    failure, repair = 1 / mtbf_h, 1 / mttr_h
    whole = failure if cold else 2 * failure
    return long_run({(2, 1): whole, (1, 2): repair, (1, 0): failure, (0, 1): crews * repair})


def pair_outages_per_year(mtbf_h: float, mttr_h: float, *, crews: int) -> float:
    """Outages a year of a hot pair: chance that both are down times the rate of leaving that [1/year]."""
    return pair_chances(mtbf_h, mttr_h, crews=crews)[0] * crews / mttr_h * HOURS_PER_YEAR


def latent_pair_unavailability(mtbf_h: float, mttr_h: float, *, detect_h: float, crews: int) -> float:
    """Chance that a hot pair is down whose standby fails silently, found after a mean of ``detect_h``."""
    failure, repair = 1 / mtbf_h, 1 / mttr_h
    chances = long_run({
        ("both", "silent"): failure, ("both", "one"): failure, ("silent", "one"): 1 / detect_h,
        ("silent", "none"): failure, ("one", "both"): repair, ("one", "none"): failure,
        ("none", "one"): crews * repair,
    })  # fmt: skip
    return chances["none"]


def repair_shop(mtbf_h: float, mttr_h: float, *, n_units: int, crews: int) -> dict[str, float]:
    """Long-run figures, by the reference table's names, of like parts mended by a few shared crews."""
    failure, repair = 1 / mtbf_h, 1 / mttr_h
    chain = {(k, k + 1): (n_units - k) * failure for k in range(n_units)}
    chain |= {(k + 1, k): min(k + 1, crews) * repair for k in range(n_units)}
    chances = long_run(chain)
    failed = sum(k * chance for k, chance in chances.items())
    waiting = sum(max(k - crews, 0) * chance for k, chance in chances.items())
    wait_h = waiting / (failure * (n_units - failed))  # Little's law
    return {
        "mean_failed": failed,
        "mean_waiting": waiting,
        "unit_U": failed / n_units,
        "P_all_up": chances[0],
        "Wq": wait_h,
        "mean_down_time": wait_h + mttr_h,
    }


def dark_share(outage_every_h: float, outage_h: float, *, battery_h: float, recharge_h: float) -> float:
    """Long-run share of time without power behind a battery: a fluid queue with two states.

    With l, m the rates of failing and returning and r = battery_h/recharge_h the speed of recharging, the
    depth of discharge x has density C exp(k x) while the mains is lost and C exp(k x)/r while it is there,
    k = l/r - m, mass C/l at x = 0 (full) and C exp(k battery_h)/m at the bottom (dark). Textbook: D. Anick,
    D. Mitra, M. M. Sondhi, Bell Syst. Tech. J. 61 (1982), for one source.
    """
    lose, back, speed = 1 / outage_every_h, 1 / outage_h, battery_h / recharge_h
    k = lose / speed - back
    empty = np.exp(k * battery_h) / back
    return float(empty / (1 / lose + empty + (1 + 1 / speed) * np.expm1(k * battery_h) / k))
