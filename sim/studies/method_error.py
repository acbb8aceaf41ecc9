"""How far the weather of a place may be from P.530's: its own error, taken into what is promised on request.

The longest weather that a confidence leaves possible: of each hop the fades of the same probability are that
much deeper, and its outage so much longer by its own law. Hops of a service are wrong together (cautious, our
own).
"""

from collections.abc import Sequence

import numpy as np
import pandas as pd
from scipy.special import ndtri

from hopyears.models.air import rain_attenuation
from hopyears.models.basics.arrays import Floats
from hopyears.sim.blocks.prepared import Prepared
from hopyears.sim.hops.hop_thresholds import HopThresholds
from hopyears.sim.rare.weather_controls import rain_rows

RAIN_ERROR = 0.33
"""Root mean square of ln(measured over predicted rain attenuation) at the same probability: L. da Silva Mello
and M. S. Pontes, Unified method for the prediction of rain attenuation in satellite and terrestrial links,
Journal of Microwaves, Optoelectronics and Electromagnetic Applications 11 (2012), tests of P.530-13 on the
ITU-R data banks; the figure from memory."""

MULTIPATH_ERROR_DB = 5.7
"""Standard deviation of the fade depth exceeded in the worst month: ITU-R P.530-10 (2001), 2.3.1, detailed
method, 251 links; from memory. Deep fades are ten times as seldom every 10 dB."""

_RAIN = ("rain",)
_MULTIPATH = ("multipath", "dispersion", "cross polar")


def weather_factors(prepared: Prepared, causes: pd.DataFrame, confidence: float) -> Floats:
    """Times as long as simulated that weather may take from each service, shape (n_services,), at least 1.

    Parameters
    ----------
    prepared : Prepared
    causes : DataFrame
        Table ``service_causes`` of the run: how much of the weather is rain.
    confidence : float
        Chance that the truth is no worse, above 0.5 to below 1.
    """
    deviates = float(ndtri(confidence))
    multipath = float(10.0 ** (deviates * MULTIPATH_ERROR_DB / 10.0))
    factors = []
    for number, demand in enumerate(prepared.demands):
        own = causes[causes["service"] == demand.id]
        rain_min, multipath_min = _minutes(own, _RAIN), _minutes(own, _MULTIPATH)
        rain = rain_factor(prepared, number, deviates)
        both = rain_min + multipath_min
        factors.append((rain * rain_min + multipath * multipath_min) / both if both > 0.0 else rain)
    return np.array(factors)


def rain_factor(prepared: Prepared, number: int, deviates: float) -> float:
    """Times as long that rain keeps the hops of a service's working route from carrying it.

    So many standard deviations from P.530's law; 1 where no hop carries it, or rain is no matter.
    """
    before = after = 0.0
    for hop, step in rain_rows(prepared, number):
        thresholds = HopThresholds(prepared.designs[hop], prepared.anchors[hop], prepared.nights[hop])
        margin_db = float(thresholds.nominal_rain_margin_db()[step])
        if 0.0 < margin_db < np.inf:
            margins = np.array([margin_db, margin_db * np.exp(-deviates * RAIN_ERROR)])
            found = rain_attenuation.exceedance(prepared.designs[hop].rain.law, margins)
            before, after = before + float(found[0]), after + float(found[1])
    return max(after / before, 1.0) if before > 0.0 else 1.0


def _minutes(causes: pd.DataFrame, names: Sequence[str]) -> float:
    """Unavailable minutes a year with one of these among the causes."""
    here = [any(name in str(cause).split(" + ") for name in names) for cause in causes["cause"]]
    return float(causes.loc[here, "unavailable_min_per_year"].sum())
