"""What the weather did to the hops of a route during one outage, and which storms and cells did it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from hopyears.models.air.rain_cell import radius_km
from hopyears.models.basics.arrays import Ints
from hopyears.sim.blocks.block import BlockDraws, BlockSimulator, hop_line
from hopyears.sim.hops.hop_history import HopHistory
from hopyears.sim.multipath.fades import DISPERSIVE, FLAT_WORST_MONTH
from hopyears.sim.rain.rain_field import RainField
from hopyears.sim.rain.rain_kernel import attenuation_at, rain_shares

SAMPLES = 240
"""Times at which rain is looked up over an outage, besides the knots that the simulation itself used."""

CELLS_SHOWN = 3
LEAST_SHARE = 0.05
"""A cell is shown when it takes this share of a hop's rain attenuation at its worst."""

LEAST_RAIN_DB = 0.1

_Window = tuple[float, float]


@dataclass(frozen=True)
class CellStory:
    """A cell, or a wide shape, over a hop at the worst moment of its rain.

    Attributes
    ----------
    cell, storm : int
        Numbers within the block.
    peak_mm_h, radius_km : float
        Rain rate of its centre; radius at which it falls to exp(-1/2) of that, then.
    attenuation_db : float
        What it takes from the hop by its part of the path integral of the rate, before anchoring.
    """

    cell: int
    storm: int
    peak_mm_h: float
    radius_km: float
    attenuation_db: float


@dataclass(frozen=True)
class HopStory:
    """One hop during an outage.

    Attributes
    ----------
    index : int
    hop : str
    lowest_mbit_s, full_mbit_s : tuple of two float
        Least and undisturbed capacity forward and backward.
    causes : int
        Flags of all causes met.
    lowest_states : tuple of two int
        Lowest modulation of the worst channel forward and backward; 0 is down.
    lost_states : tuple of int
        Modulations that some channel lost, of those it has in clear air.
    margin_db : tuple of (states, dB)
        Rain attenuation that each modulation stands, nominal equipment.
    rain_db, rain_raw_db, rain_time_s : float
        Largest rain attenuation of the reference channel, anchored and as the cells give it; when.
    cells : tuple of CellStory
        The strongest cells then.
    fade_db, fade_time_s : float
        Deepest flat multipath fade of any receive line, 0 for none; when.
    dispersive : bool
        A dispersive fade fell into the outage.
    """

    index: int
    hop: str
    lowest_mbit_s: tuple[float, float]
    full_mbit_s: tuple[float, float]
    causes: int
    lowest_states: tuple[int, int]
    lost_states: tuple[int, ...]
    margin_db: tuple[tuple[int, float], ...]
    rain_db: float
    rain_raw_db: float
    rain_time_s: float
    cells: tuple[CellStory, ...]
    fade_db: float
    fade_time_s: float
    dispersive: bool


@dataclass(frozen=True)
class StormStory:
    """A storm (all that was drawn together) that rained on the route.

    Attributes
    ----------
    storm, n_cells : int
        Number within the block; cells that may rain on the network.
    start_s, end_s : float
        Of its rain, in the block.
    speed_km_h, bearing_deg : float
        Its drift; the direction it goes to, clockwise from north.
    peak_mm_h : float
        Strongest of its cells over the route.
    hops : tuple of (hop, dB)
        Attenuation by its cells on each hop at the hop's worst moment, as the cell model gives it.
    """

    storm: int
    n_cells: int
    start_s: float
    end_s: float
    speed_km_h: float
    bearing_deg: float
    peak_mm_h: float
    hops: tuple[tuple[str, float], ...]


def hop_stories(
    simulator: BlockSimulator,
    draws: BlockDraws,
    hops: Sequence[HopHistory],
    crossed: Sequence[int],
    window: _Window,
) -> tuple[HopStory, ...]:
    """Those of the crossed hops that were not at their best at some time of the window [s]."""
    stories = []
    for index in crossed:
        states = _states_within(hops[index], window)
        if hops[index].causes[states].any():
            stories.append(_hop_story(simulator, draws, index, hops[index], states, window))
    return tuple(stories)


def _states_within(hop: HopHistory, window: _Window) -> Ints:
    first = int(np.searchsorted(hop.time_s, window[0], side="right")) - 1
    last = int(np.searchsorted(hop.time_s, window[1], side="left"))
    return np.unique(hop.state[first:last]).astype(np.int64)


def _hop_story(
    simulator: BlockSimulator, draws: BlockDraws, index: int, hop: HopHistory, states: Ints, window: _Window
) -> HopStory:
    design, thresholds = simulator.prepared.designs[index], simulator.thresholds[index]
    names = np.concatenate(([0], design.steps.states))
    levels = hop.levels[states].reshape(len(states), 2, -1)
    lowest = levels.min(axis=(0, 2))
    clear = int(thresholds.nominal.ceiling.max())
    full = hop.capacity_mbit_s.max(axis=0)
    least = hop.capacity_mbit_s[states].min(axis=0)
    margins = thresholds.nominal_rain_margin_db()
    time_s, raw_db = _worst_rain(simulator, draws, index, window)
    fade_time_s, fade_db, dispersive = _worst_fade(simulator, draws, index, window)
    return HopStory(
        index=index,
        hop=design.hop.id,
        lowest_mbit_s=(float(least[0]), float(least[1])),
        full_mbit_s=(float(full[0]), float(full[1])),
        causes=int(np.bitwise_or.reduce(hop.causes[states])),
        lowest_states=(int(names[lowest[0]]), int(names[lowest[1]])),
        lost_states=tuple(int(name) for name in design.steps.states[int(lowest.min()) : clear]),
        margin_db=tuple(
            (int(name), float(margin)) for name, margin in zip(design.steps.states, margins, strict=True)
        ),
        rain_db=float(thresholds.anchor.anchored(raw_db)),
        rain_raw_db=raw_db,
        rain_time_s=time_s,
        cells=_cells(simulator, draws, index, time_s, raw_db),
        fade_db=fade_db,
        fade_time_s=fade_time_s,
        dispersive=dispersive,
    )


def _worst_rain(
    simulator: BlockSimulator, draws: BlockDraws, index: int, window: _Window
) -> tuple[float, float]:
    """When the rain attenuation of a hop is largest within a window, and how large [dB, raw].

    Looked up at the knots that the simulation uses (every ten seconds where the hop is in danger) and at
    even steps besides.
    """
    knots = simulator.rain(draws, index)
    if draws.field is None or knots is None:
        return window[0], 0.0
    line = hop_line(simulator.prepared.designs[index])
    inside = (knots.time_s >= window[0]) & (knots.time_s <= window[1])
    times, values = [knots.time_s[inside]], [knots.attenuation_db[inside]]
    for part in np.array_split(np.linspace(*window, SAMPLES), 24):
        times.append(part)
        values.append(attenuation_at(draws.field, line, part))
    time_s, attenuation_db = np.concatenate(times), np.concatenate(values)
    worst = int(np.argmax(attenuation_db))
    return float(time_s[worst]), float(attenuation_db[worst])


def _cells(
    simulator: BlockSimulator, draws: BlockDraws, index: int, time_s: float, raw_db: float
) -> tuple[CellStory, ...]:
    field = draws.field
    if field is None or raw_db < LEAST_RAIN_DB:
        return ()
    shares = rain_shares(field, hop_line(simulator.prepared.designs[index]), time_s)
    shapes, shares_db = shares.shape[:CELLS_SHOWN], shares.share_db[:CELLS_SHOWN]
    strongest = []
    for shape, row, share_db in zip(shapes, field.shape_rows(shapes), shares_db, strict=True):
        strongest.append(
            CellStory(
                cell=int(shape),
                storm=int(field.shape_system[shape]),
                peak_mm_h=float(np.exp(row[6])),
                radius_km=float(radius_km(row[7], (time_s - row[0]) / row[1])),
                attenuation_db=float(share_db),
            )
        )
    return tuple(cell for cell in strongest if cell.attenuation_db >= LEAST_SHARE * raw_db)


def _worst_fade(
    simulator: BlockSimulator, draws: BlockDraws, index: int, window: _Window
) -> tuple[float, float, bool]:
    """When the deepest flat fade of any line falls into a window, its depth [dB], and any dispersive fade."""
    fades, nights = draws.fades[index], simulator.prepared.nights[index]
    if fades is None or nights is None or not fades.time_s.size:
        return window[0], 0.0, False
    first = int(np.searchsorted(fades.latest_end_s, window[0]))
    last = int(np.searchsorted(fades.earliest_start_s, window[1]))
    rows = slice(first, max(first, last))
    speed, dx = fades.speed_per_s[rows, None], fades.dx[rows]
    closest_s = fades.time_s[rows, None] - dx / speed
    nearest_s = np.clip(closest_s, *window)
    power = (speed * (nearest_s - closest_s)) ** 2 + (fades.impact[rows, None] + fades.dy[rows]) ** 2
    kind = fades.kind[rows]
    depth_db = np.zeros(power.shape)
    for worst_month in (False, True):
        mine = (kind == FLAT_WORST_MONTH) if worst_month else (kind < FLAT_WORST_MONTH)
        depth_db[mine] = nights.depth_map.depth(np.maximum(power[mine], 1e-30), worst_month=worst_month)
    tops = simulator.thresholds[index].highest_power(draws.segments[index].states)
    dispersive = bool((power[kind == DISPERSIVE] < tops[1]).any())
    if not depth_db.size or depth_db.max() <= 0.0:
        return window[0], 0.0, dispersive
    row, line = np.unravel_index(int(np.argmax(depth_db)), depth_db.shape)
    return float(nearest_s[row, line]), float(depth_db[row, line]), dispersive


def storm_stories(
    simulator: BlockSimulator, draws: BlockDraws, touched: Sequence[HopStory]
) -> tuple[StormStory, ...]:
    """Storms behind the cells of these hops, the one that takes most first."""
    field = draws.field
    if field is None:
        return ()
    taken: dict[int, dict[str, float]] = {}
    peaks: dict[int, float] = {}
    for hop in touched:
        storms = {cell.storm for cell in hop.cells}
        if not storms:
            continue
        line = hop_line(simulator.prepared.designs[hop.index])
        shares = rain_shares(field, line, hop.rain_time_s)
        shapes, shares_db = shares.shape, shares.share_db
        for storm in storms:
            mine = field.shape_system[shapes] == storm
            taken.setdefault(storm, {})[hop.hop] = float(shares_db[mine].sum())
            strong = mine & (shares_db >= LEAST_SHARE * shares_db[mine].max())
            peak = float(np.exp(field.shape_rows(shapes[strong])[:, 6].max()))
            peaks[storm] = max(peaks.get(storm, 0.0), peak)
    order = sorted(taken, key=lambda storm: (-max(taken[storm].values()), storm))
    return tuple(_storm_story(field, storm, peaks[storm], taken[storm]) for storm in order)


def _storm_story(field: RainField, storm: int, peak_mm_h: float, hops: dict[str, float]) -> StormStory:
    rows = field.shape_rows(np.flatnonzero(field.shape_system == storm))
    east, north = rows[0, 4:6]
    return StormStory(
        storm=storm,
        n_cells=len(rows),
        start_s=float(rows[:, 0].min()),
        end_s=float((rows[:, 0] + rows[:, 1]).max()),
        speed_km_h=float(np.hypot(east, north) * 3600.0),
        bearing_deg=float(np.rad2deg(np.arctan2(east, north)) % 360.0),
        peak_mm_h=peak_mm_h,
        hops=tuple(hops.items()),
    )
