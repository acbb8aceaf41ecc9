"""A run held against the standards: each predicted figure of a hop beside the simulated one.

The simulated figures are those of fading alone and of equipment alone, as the standards count them; what
comes of both together, with switching and adaptive modulation, is in the run's own tables.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
import pyarrow as pa

from hopyears.models.air import seasonality
from hopyears.models.air.fade_shape import mean_fade_s
from hopyears.models.air.rain_scaling import event_count_per_year
from hopyears.models.basics.arrays import Floats
from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.models.equipment.part_kind import Place, causes_at
from hopyears.models.judging.cause import EQUIPMENT, Cause
from hopyears.models.judging.cause import FADING as BY_AIR
from hopyears.models.radio.scheme import Diversity
from hopyears.sim.blocks.prepared import ModelOptions, Prepared, prepare
from hopyears.sim.counting.fading_tally import (
    CROSS_POLAR_RAIN,
    DISPERSIVE,
    FADING,
    FLAT,
    MONTH_S,
    PROTECTED,
    RAIN,
)
from hopyears.sim.counting.keyed_table import KeyedTable
from hopyears.sim.counting.result_tables import table_of
from hopyears.sim.counting.tally_rows import STATE_CAUSE
from hopyears.sim.hops.hop_design import HopDesign
from hopyears.sim.hops.hop_thresholds import HopThresholds, fade_duration_s
from hopyears.sim.inputs.input_errors import InputError
from hopyears.sim.inputs.network_file import NetworkSource
from hopyears.sim.storage.run_folder import RunFolder
from hopyears.sim.textbook.common_parts import site_unavailability
from hopyears.sim.textbook.fading import FadingOutage, fading_outage
from hopyears.sim.textbook.predict import hop_equipment_unavailability

RAIN_RANGE = (1e-5, 1e-2)
"""Fractions of the year for which ITU-R P.530-18, 2.4.1 gives rain attenuation."""

DEEP_FADE_DB = 25.0
"""From about this depth on fades stand apart, so that their mean duration falls as the amplitude (P.530's law
of deep fades begins here, too)."""

LEAST_IMPROVEMENT = 5.0
"""Diversity that improves by less is outside the range of ITU-R P.530-17 and -18, 6.2.6 (from memory; taken
for space diversity too)."""

SITE_CAUSES = int(causes_at(Place.UNIT, Place.SITE, Place.SUPPLY))
"""What takes down every radio of a site."""

HOP_CAUSES = int((EQUIPMENT & ~SITE_CAUSES) | Cause.SWITCHING)
"""What belongs to one hop."""

NOT_IN_TEXTBOOKS = int(Cause.LIGHTNING | Cause.SWITCHING)
"""What series-parallel arithmetic leaves out: parts lost together, and switches that take time or fail."""


NOTES = {
    "rain, worst month": "P.841 for anywhere in the world; its regions differ by about half either way (from "
    "memory). Runs have less than that where months are alike, and more at depths that few showers reach.",
    "rain, fades of 10 s or longer": "P.530 has one curve for all hops. Runs have 0.8 to 1.2 times as many, "
    "up to 1.4 times on 1 km, where rain fades fast, and where rain is frequent and cool.",
    "cross-polar in rain": "interference alone. P.530, 4.2.2 takes one law of attenuation for all "
    "frequencies, the run that of 2.4.1: apart by up to a third.",
    "flat fades of one line": "time in fades of P.530 over a mean length of 410 s sqrt(d/46 km) 10^(-A/20) "
    "(Vigants 1975, from memory), for fades of 25 dB and more.",
    "multipath with diversity": "P.530 joins flat and dispersive outage to up to 1.26 times their sum.",
    "equipment of the hop": "textbooks leave out queues, lightning, switches and silent standbys.",
}
"""Where a figure must differ from its standard, and why."""


@dataclass(frozen=True)
class Figure:
    """One figure by the standards: its name, unit and value, and where a block's own value is found.

    ``kind`` and ``value`` name the rows and the column of ``fading_tally.FADING``. ``in_range`` is false
    where the Recommendation does not claim to hold.
    """

    name: str
    unit: str
    predicted: float
    kind: int
    value: str
    in_range: bool


def hold_against(source: NetworkSource, folder: RunFolder) -> pd.DataFrame:
    """Predicted and simulated figures of every hop of a run.

    Parameters
    ----------
    source : NetworkSource
        The network; must be the one that was simulated.
    folder : RunFolder
        The run, with at least one finished block.

    Returns
    -------
    DataFrame
        One row a hop, modulation and figure: table ``against`` of ``sim.wording.columns``. Modulations that
        clear air does not allow, and parts of the model that were switched off in the run, are left out.

    Raises
    ------
    InputError
        If the folder holds no run, one of another network, or one without a finished block.
    """
    manifest = folder.manifest()
    if manifest["network"] != source.digest():
        raise InputError(f"{folder.path}: run is of another network; must be of {source.name} as it stands")
    numbers = folder.finished_blocks()
    if not numbers:
        raise InputError(f"{folder.path}: run has no finished block; must have one")
    options = ModelOptions(**manifest["options"])
    prepared = prepare(source.network, ModelOptions(multipath=options.multipath, anchoring=False))
    stored = [folder.read_block(number, "hop_fading", "hop_state_cause") for number in numbers]
    rows = [*_fading(prepared, options, stored, manifest["block_years"])]
    if options.failures:
        rows += _equipment(prepared, stored, manifest["block_years"])
    return table_of("against", rows)


def agreement(compared: pd.DataFrame) -> pd.DataFrame:
    """How well each figure agrees over all hops and modulations within the Recommendations' range.

    Returns
    -------
    DataFrame
        Columns ``figure``; ``cases`` with a standard error; ``median_ratio`` of these;
        ``within_3_standard_errors``, the share of them so near to 1; ``none_seen``, cases without a
        standard error; ``out_of_range``.
    """
    rows = []
    for figure, everything in compared.groupby("figure", sort=False):
        group = everything[everything["in_range"]]
        certain = group[np.isfinite(group["standard_error"])]
        near = (certain["ratio"] - 1.0).abs() <= 3.0 * certain["standard_error"]
        share = float(near.mean()) if len(certain) else np.nan
        rows.append(
            (
                figure,
                len(certain),
                float(certain["ratio"].median()),
                share,
                len(group) - len(certain),
                len(everything) - len(group),
            )
        )
    columns = ["figure", "cases", "median_ratio", "within_3_standard_errors", "none_seen", "out_of_range"]
    return pd.DataFrame(rows, columns=columns)


def _fading(
    prepared: Prepared, options: ModelOptions, stored: Sequence[Mapping[str, pa.Table]], block_years: int
) -> Iterator[tuple[object, ...]]:
    tables = [KeyedTable.from_arrow(FADING, tables["hop_fading"]) for tables in stored]
    most = max(len(design.steps) for design in prepared.designs)
    shape = (len(prepared.designs), CROSS_POLAR_RAIN + 1, most)
    by_value = {name: np.array([table.spread(name, shape) for table in tables]) for name in FADING.values}
    for index, design in enumerate(prepared.designs):
        thresholds = HopThresholds(design, prepared.anchors[index], prepared.nights[index])
        for step in range(int(thresholds.nominal.ceiling[0])):
            for figure in fading_figures(thresholds, step, options):
                blocks = by_value[figure.value][:, index, figure.kind, step] / block_years
                yield (
                    design.hop.id,
                    int(design.steps.states[step]),
                    figure.name,
                    figure.unit,
                    *_compared(figure.predicted, blocks),
                    figure.in_range,
                )


def fading_figures(thresholds: HopThresholds, step: int, options: ModelOptions) -> list[Figure]:
    """Every fading figure of a hop at modulation ``step`` (0 is the lowest), for the parts that are on."""
    outage = fading_outage(thresholds, step)
    figures = []
    if options.rain:
        figures += _rain_figures(outage, co_channel=thresholds.design.scheme.co_channel)
    if options.multipath and thresholds.design.multipath.occurrence > 0.0:
        figures += _multipath_figures(
            outage, thresholds.design, float(thresholds.design.levels.margin_db[0, step])
        )
    return figures


def _rain_figures(outage: FadingOutage, *, co_channel: bool) -> list[Figure]:
    usual = RAIN_RANGE[0] <= outage.rain <= RAIN_RANGE[1]
    worst = float(seasonality.worst_month_probability(outage.rain)) if outage.rain > 0.0 else 0.0
    count = float(event_count_per_year(outage.rain))
    figures = [
        Figure("rain", "s/year", outage.rain * SECONDS_PER_YEAR, RAIN, "seconds", usual),
        Figure("rain, worst month", "s/month", worst * MONTH_S, RAIN, "worst_month_s", usual),
        Figure("rain, fades of 10 s or longer", "1/year", count, RAIN, "long_events", usual),
    ]
    if co_channel:
        usual = RAIN_RANGE[0] <= outage.crossed_rain <= RAIN_RANGE[1]
        seconds = outage.crossed_rain * SECONDS_PER_YEAR
        figures.append(Figure("cross-polar in rain", "s/year", seconds, CROSS_POLAR_RAIN, "seconds", usual))
    return figures


def _multipath_figures(outage: FadingOutage, design: HopDesign, depth_db: float) -> list[Figure]:
    flat, flat_year = outage.flat + outage.crossed, outage.flat_year + outage.crossed * outage.to_year
    enough = design.scheme.diversity is Diversity.NONE or outage.improvement >= LEAST_IMPROVEMENT
    figures = []
    for name, kind, worst, year in (
        ("flat fading of one line", FLAT, flat, flat_year),
        ("dispersive fading of one line", DISPERSIVE, outage.dispersive, outage.dispersive * outage.to_year),
        ("multipath with diversity", PROTECTED, outage.multipath_worst_month, outage.multipath),
    ):
        usual = enough or kind != PROTECTED
        figures += [
            Figure(name, "s/year", year * SECONDS_PER_YEAR, kind, "seconds", usual),
            Figure(f"{name}, worst month", "s/month", worst * MONTH_S, kind, "worst_month_s", usual),
        ]
    if outage.crossed == 0.0:
        length_s = float(mean_fade_s(fade_duration_s(design), depth_db))
        count = outage.flat_year * SECONDS_PER_YEAR / length_s
        figures.append(
            Figure("flat fades of one line", "1/year", count, FLAT, "events", depth_db >= DEEP_FADE_DB)
        )
    return figures


def _equipment(
    prepared: Prepared, stored: Sequence[Mapping[str, pa.Table]], block_years: int
) -> Iterator[tuple[object, ...]]:
    """Time below full capacity by the hop's own parts, and by its sites' common parts and power."""
    tables = [KeyedTable.from_arrow(STATE_CAUSE, tables["hop_state_cause"]) for tables in stored]
    for index, design in enumerate(prepared.designs):
        own = hop_equipment_unavailability(prepared, index)
        ends = sum(site_unavailability(prepared, site, [index]) for site in prepared.built.hops[index].sites)
        for name, predicted, wanted, barred in (
            ("equipment of the hop", own, HOP_CAUSES, SITE_CAUSES),
            ("the same, lightning and switching left out", own, HOP_CAUSES, SITE_CAUSES | NOT_IN_TEXTBOOKS),
            ("common parts and power of its sites", ends, SITE_CAUSES, 0),
        ):
            barred |= int(BY_AIR | Cause.MAINTENANCE)
            blocks = np.array([_seconds(table, index, wanted, barred) for table in tables]) / block_years
            yield (design.hop.id, 0, name, "s/year", *_compared(predicted * SECONDS_PER_YEAR, blocks), True)


def _seconds(table: KeyedTable, entity: int, wanted: int, barred: int) -> float:
    """Time of a hop with a wanted cause and no barred one [s]."""
    causes = table.key("causes")
    here = (table.key("entity") == entity) & (causes & wanted != 0) & (causes & barred == 0)
    return float(table.value("seconds")[here].sum())


def _compared(predicted: float, blocks: Floats) -> tuple[float, float, float, float]:
    """Predicted, simulated, their ratio and its standard error, from one value a block."""
    simulated = float(blocks.mean())
    if predicted <= 0.0:
        return predicted, simulated, np.nan, np.nan
    error = np.nan
    if np.count_nonzero(blocks) > 1:
        error = float(blocks.std(ddof=1) / np.sqrt(blocks.size)) / predicted
    return predicted, simulated, simulated / predicted, error
