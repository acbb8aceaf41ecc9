"""Fading of one hop by the Recommendations alone: rain, wet snow, multipath, cross-polar, diversity."""

from dataclasses import dataclass

import numpy as np

from hopyears.models.air import cross_polar, diversity, multipath
from hopyears.models.radio.scheme import Diversity
from hopyears.sim.blocks.prepared import rain_target_db
from hopyears.sim.hops.hop_design import HopDesign
from hopyears.sim.hops.hop_thresholds import HopThresholds


@dataclass(frozen=True)
class FadingOutage:
    """Outage of a hop at one modulation, as fractions of the time.

    Attributes
    ----------
    rain : float
        Of the year; noise and, on co-channel carriers, cross-polar interference.
    crossed_rain : float
        Of the year; cross-polar interference alone, P_XPR of P.530; 0 without co-channel carriers.
    flat, dispersive, crossed : float
        Multipath of the worst month without diversity: P_ns, P_s and P_XP of P.530.
    multipath_worst_month : float
        Their sum without diversity; P_d of P.530 with it.
    flat_year : float
        Flat multipath of the average year without diversity.
    to_year : float
        From the worst month to the average year, of all else.
    multipath : float
        Of the average year, with diversity.
    improvement : float
        Of flat fading by the scheme's diversity, at least 1; infinite where there is no multipath.
    """

    rain: float
    crossed_rain: float
    flat: float
    dispersive: float
    crossed: float
    multipath_worst_month: float
    flat_year: float
    to_year: float
    multipath: float
    improvement: float


def fading_outage(thresholds: HopThresholds, step: int) -> FadingOutage:
    """What P.530 says of a hop at modulation ``step`` (0 is the lowest).

    References
    ----------
    ITU-R P.530-18 (2021): rain 2.4.1, with wet snow 2.4.2; multipath 2.3.2 (all depths), 2.3.4 (year), 5.1
    (signatures), 4.1 and 4.2.2 (cross-polar), 6.2 (diversity; never worse than without it: our own). Where
    the user gives measured percentiles of rain or multipath, these go before 2.4.1 and 2.3.2.
    """
    design = thresholds.design
    rain = rain_exceedance(design, float(thresholds.nominal_rain_margin_db()[step]))
    flat, dispersive, crossed = _multipath_parts(design, step)
    to_year = float(10.0 ** (-design.multipath.annual_reduction_db / 10.0))
    flat_year = float(
        multipath.exceedance(design.multipath.occurrence * to_year, _depth_of_law_db(design, step))
    )
    improvement = 1.0 if design.multipath.occurrence > 0.0 else np.inf
    worst, annual = flat + dispersive + crossed, flat_year + (dispersive + crossed) * to_year
    if design.scheme.diversity is not Diversity.NONE and design.multipath.occurrence > 0.0:
        constant = _diversity_constant(design)
        improvement = max(float(diversity.improvement(constant, _flat_depth_db(design, step))), 1.0)
        worst = min(_with_diversity(design, constant, flat / improvement, dispersive), flat + dispersive)
        worst += crossed
        annual = worst * to_year
    return FadingOutage(
        rain=rain,
        crossed_rain=_crossed_rain(design, step),
        flat=flat,
        dispersive=dispersive,
        crossed=crossed,
        multipath_worst_month=min(worst, 1.0),
        flat_year=flat_year,
        to_year=to_year,
        multipath=min(annual, 1.0),
        improvement=improvement,
    )


def rain_exceedance(design: HopDesign, margin_db: float) -> float:
    """Fraction of the year with more attenuation by rain and wet snow than a margin [dB].

    The user's measurements go first.
    """
    if design.hop.rain_exceedance_db is None or margin_db <= 0.0:
        return float(design.rain.precipitation.exceedance(margin_db))
    log_p = np.linspace(np.log(1e-9), 0.0, 4000)
    attenuation_db = rain_target_db(design, np.exp(log_p))
    return float(np.exp(np.interp(-margin_db, -attenuation_db, log_p)))


def _crossed_rain(design: HopDesign, step: int) -> float:
    """P_XPR of the year, from the hop's own attenuation at 0.01 % (with wet snow, or as measured)."""
    if not design.scheme.co_channel:
        return 0.0
    return float(
        cross_polar.rain_outage(
            rain_target_db(design, np.array([1e-4]))[0],
            frequency_ghz=design.hop.frequency_ghz,
            required_c_i_db=design.steps.required_snr_db[step],
            canceller_db=design.radio.canceller_improvement_db,
        )
    )


def _flat_depth_db(design: HopDesign, step: int) -> float:
    return max(float(design.levels.margin_db[0, step]), 0.0)


def _depth_of_law_db(design: HopDesign, step: int) -> float:
    """The flat depth on the scale of P.530's law, where the user measured another."""
    return float(design.multipath.depth_of_law_db(_flat_depth_db(design, step)))


def _multipath_parts(design: HopDesign, step: int) -> tuple[float, float, float]:
    p0 = design.multipath.occurrence
    if p0 <= 0.0:
        return 0.0, 0.0, 0.0
    flat = float(multipath.exceedance(p0, _depth_of_law_db(design, step)))
    dispersive = float(
        diversity.signature_outage(
            p0,
            width_ghz=design.steps.signature_width_ghz[step],
            depth_db=design.steps.signature_depth_db[step],
            path_length_km=design.path.length_km,
            reference_delay_ns=design.radio.signature_delay_ns,
        )
    )
    if not design.scheme.co_channel:
        return flat, dispersive, 0.0
    margin_db = cross_polar.clear_air_margin_db(
        p0,
        antenna_discrimination_db=design.levels.antenna_discrimination_db,
        required_c_i_db=design.steps.required_snr_db[step],
        canceller_db=design.radio.canceller_improvement_db,
    )
    return flat, dispersive, float(cross_polar.clear_air_outage(p0, margin_db))


def _diversity_constant(design: HopDesign) -> float:
    """I0 of the scheme's diversity: its improvement is I0 10^(A/10)."""
    hop, p0 = design.hop, design.multipath.occurrence
    space = diversity.space_constant(
        hop.antenna_separation_m,
        frequency_ghz=hop.frequency_ghz,
        path_length_km=design.path.length_km,
        occurrence=p0,
    )
    frequency = diversity.frequency_constant(
        design.channel_step_ghz, frequency_ghz=hop.frequency_ghz, path_length_km=design.path.length_km
    )
    return float(
        {
            Diversity.SPACE: space,
            Diversity.FREQUENCY: frequency,
            Diversity.BOTH: diversity.combined_constant(space, frequency, p0),
        }[design.scheme.diversity]
    )


def _with_diversity(design: HopDesign, constant: float, flat: float, dispersive: float) -> float:
    """P_d of the worst month from the flat outage with diversity and the dispersive one without."""
    ns2 = diversity.correlation_ns2(constant, design.multipath.occurrence)
    protected = diversity.dispersive_outage_with_diversity(dispersive, ns2, design.multipath.occurrence)
    return float(diversity.combined_outage(flat, protected))
