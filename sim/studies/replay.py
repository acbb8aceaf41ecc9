"""The hours around one outage as plain data for a page that plays them again: rain, hops, services, repairs.

All is from the block simulated again. Rain is given as its moving shapes, whose rate anywhere and at any time
the page works out from the formula of ``sim.rain.rain_field``.
"""

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from hopyears.models.air.rain_cell import GAUSSIAN
from hopyears.models.basics.arrays import Floats
from hopyears.models.judging.cause import cause_label
from hopyears.sim.equipment.failure_log import FailureLog
from hopyears.sim.equipment.failure_tally import crew_names
from hopyears.sim.services.service import routes_in_use
from hopyears.sim.services.service_data import ServiceDemand
from hopyears.sim.studies.explain import Reopened
from hopyears.sim.studies.explain_timeline import Step, Window, hop_steps, service_steps

LEAD_SHARE, LEAD_S = 0.25, (900.0, 3600.0)
"""The replay begins this share of the outage before it, within these limits, and ends as long after it."""

MOST_SHAPES = 6000
"""Shapes of rain that are shown; the largest amounts of rain come first."""

MOST_STEPS = 12_000
"""Steps of all hops together; above this, hops off the service's routes tell only whether they are down."""

MOST_FAILURES = 60

MARGIN_KM = 12.0
"""Rain is given that far beyond the sites [km]: the map shows that much, or less."""

REACH_RADII = 4.0
"""A shape matters as far as this, in its largest radii."""


def window_of(opened: Reopened) -> Window:
    """First and last second of the block that the replay shows."""
    outage = opened.outage
    lead_s = float(np.clip(LEAD_SHARE * outage.duration_s, *LEAD_S))
    return max(outage.start_s - lead_s, 0.0), min(outage.end_s + lead_s, opened.draws.duration_s)


def replay(opened: Reopened) -> dict[str, Any]:
    """Sites, hops, services, rain, failures and power in the hours around an outage.

    Returns
    -------
    dict
        Lists and texts only, fit for JSON. Times in seconds from the beginning of the replay; places in km of
        the local plane; rates in Mbit/s.
    """
    window = window_of(opened)
    prepared = opened.run.prepared
    demand = prepared.demands[opened.service_index]
    sites = [site.id for site in prepared.network.sites]
    number = {site: i for i, site in enumerate(sites)}
    routes = [[hop for link in prepared.hops_along(route) for hop in link] for route in demand.routes]
    return {
        "service": demand.id,
        "span_s": round(window[1] - window[0], 1),
        "outage_s": [round(opened.outage.start_s - window[0], 1), round(opened.outage.end_s - window[0], 1)],
        "sites": [
            [site, *(round(float(km), 3) for km in place)]
            for site, place in zip(sites, prepared.site_km, strict=True)
        ],
        "hops": [
            [design.hop.id, number[design.hop.site_a], number[design.hop.site_b], _best(opened, i)]
            for i, design in enumerate(prepared.designs)
        ],
        "routes": routes,
        "hop_steps": _steps_of_hops(opened, window, {hop for route in routes for hop in route}),
        "services": [each.id for each in prepared.demands],
        "service_steps": _steps_of_services(opened, window),
        "rain": _rain(opened, window),
        "failures": _failures(opened, window),
        "power": _power(opened, window),
    }


def _best(opened: Reopened, hop: int) -> int:
    """States of the modulation that a hop has in clear air, nominal equipment; 0 if none."""
    clear = int(opened.simulator.thresholds[hop].nominal.ceiling.max())
    return int(opened.run.prepared.designs[hop].steps.states[clear - 1]) if clear else 0


def _steps_of_hops(opened: Reopened, window: Window, on_route: set[int]) -> list[list[list[Any]]]:
    """Of each hop [time, states forward, backward, Mbit/s forward, backward, causes]; 0 states is down."""
    designs = opened.run.prepared.designs
    every = [list(hop_steps(design, hop, window)) for design, hop in zip(designs, opened.hops, strict=True)]
    if sum(map(len, every)) > MOST_STEPS:
        every = [steps if i in on_route else _downs(steps) for i, steps in enumerate(every)]
    return [[_hop_row(step, window[0]) for step in steps] for steps in every]


def _downs(steps: list[Step]) -> list[Step]:
    """Only the steps with which a hop goes down or comes back."""
    pairs = zip([None, *steps[:-1]], steps, strict=True)
    return [step for before, step in pairs if before is None or before.down != step.down]


def _hop_row(step: Step, zero_s: float) -> list[Any]:
    causes = cause_label(step.causes) if step.causes else ""
    rates = (round(step.forward_mbit_s), round(step.backward_mbit_s))
    return [round(step.time_s - zero_s, 1), *step.states, *rates, causes]


def _steps_of_services(opened: Reopened, window: Window) -> list[list[list[Any]]]:
    """Of each service [time, down, Mbit/s forward, backward, committed share is met, route, causes]."""
    prepared, draws = opened.run.prepared, opened.draws
    links = opened.simulator.links(opened.hops, draws.log)
    rows = []
    routes = routes_in_use(links, prepared.demands, draws.duration_s, links=prepared.links)
    for demand, service, route in zip(prepared.demands, opened.services, routes, strict=True):
        steps = service_steps(service, route, len(demand.routes), window)
        rows.append(
            [
                [
                    round(step.time_s - window[0], 1),
                    int(step.down),
                    round(step.forward_mbit_s, 1),
                    round(step.backward_mbit_s, 1),
                    int(_met(step, demand)),
                    step.route,
                    cause_label(step.causes) if step.causes else "",
                ]
                for step in steps
            ]
        )
    return rows


def _met(step: Step, demand: ServiceDemand) -> bool:
    """Whether both ways carry what was committed at the hour."""
    rates = step.forward_mbit_s, step.backward_mbit_s
    return all(
        rate >= step.asked_share * committed - 1e-6
        for rate, committed in zip(rates, demand.committed_ways_mbit_s, strict=True)
    )


def _rain(opened: Reopened, window: Window) -> dict[str, Any]:
    """Shapes [birth, life, x, y, speed x, y [m/s], peak mm/h, largest radius, axis ratio, bearing, kind]."""
    field = opened.draws.field
    if field is None:
        return {"profiles": [], "shapes": []}
    places = np.asarray(opened.run.prepared.site_km, dtype=np.float64).reshape(-1, 2)
    low, high = places.min(axis=0) - MARGIN_KM, places.max(axis=0) + MARGIN_KM
    round_cells = np.hstack([field.cells, np.tile([1.0, 0.0], (field.n_cells, 1))])
    shapes = [
        np.column_stack([rows, np.full(len(rows), kind)])
        for kind, rows in enumerate(
            (_near(round_cells, window, low, high), _near(field.wide, window, low, high))
        )
    ]
    every = np.concatenate(shapes)
    amount = np.exp(every[:, 6]) * every[:, 7] ** 2
    every = every[np.sort(np.argsort(-amount, kind="stable")[:MOST_SHAPES])]
    profiles = (field.population.profile, GAUSSIAN)
    return {
        "profiles": [[each.inner_weight, each.inner_radius, each.outer_radius] for each in profiles],
        "left_out": max(len(amount) - MOST_SHAPES, 0),
        "shapes": [_shape_row(row, window[0]) for row in every.tolist()],
    }


def _shape_row(row: list[float], zero_s: float) -> list[float]:
    birth, life, x, y, vx, vy, log_peak, rho, ratio, bearing, kind = row
    return [
        round(birth - zero_s, 1), round(life, 1), round(x, 3), round(y, 3),
        round(1e3 * vx, 3), round(1e3 * vy, 3), float(f"{np.exp(log_peak):.4g}"),
        round(rho, 3), round(ratio, 3), round(bearing, 4), int(kind),
    ]  # fmt: skip


def _near(rows: Floats, window: Window, low: Floats, high: Floats) -> Floats:
    """Shapes that live in a window [s] and come near the rectangle of the sites [km]."""
    rows = rows[(rows[:, 0] < window[1]) & (rows[:, 0] + rows[:, 1] > window[0])]
    first = np.maximum(rows[:, 0], window[0])
    last = np.minimum(rows[:, 0] + rows[:, 1], window[1])
    reach = REACH_RADII * rows[:, 7:8] * np.sqrt(rows[:, 8:9])
    times = first[:, None] + np.linspace(0.0, 1.0, 9) * (last - first)[:, None] - rows[:, 0:1]
    beyond = [
        np.maximum(np.maximum(low[axis] - place, place - high[axis]), 0.0)
        for axis in (0, 1)
        for place in (rows[:, 2 + axis, None] + rows[:, 4 + axis, None] * times,)
    ]
    kept: Floats = rows[(np.hypot(*beyond) <= reach).any(axis=1)]
    return kept


def _failures(opened: Reopened, window: Window) -> list[dict[str, Any]]:
    """Failures in force in the window: what, where, and when each stage of the repair began."""
    log = opened.draws.log
    if log is None:
        return []
    failures = log.failures
    rows = np.flatnonzero((failures.failed_s < window[1]) & (failures.mended_s > window[0]))
    rows = rows[np.argsort(~failures.affecting[rows], kind="stable")][:MOST_FAILURES]
    return [_failure(opened, log, int(row), window[0]) for row in rows]


def _failure(opened: Reopened, log: FailureLog, row: int, zero_s: float) -> dict[str, Any]:
    plant, failures = opened.run.prepared.built.plant, log.failures
    crew = int(failures.crew[row])
    part = plant.parts[int(failures.part[row])]
    crews = {each.id: each.base for each in opened.run.prepared.network.crews}
    base = crews.get(plant.crews[int(plant.crew_base[crew])].id, "") if crew >= 0 else ""
    return {
        "part": part.id,
        "kind": part.kind.replace("_", " "),
        "site": int(failures.site[row]),
        "affecting": bool(failures.affecting[row]),
        "latent": bool(failures.latent[row]),
        "cause": cause_label(int(failures.cause[row])),
        "crew": crew_names(plant)[crew] if crew >= 0 else "",
        "base": base,
        "stages_s": [
            round(float(np.clip(column[row], -1e9, 1e9)) - zero_s)
            for column in (
                failures.failed_s,
                failures.noticed_s,
                failures.spare_s,
                failures.crew_s,
                failures.arrived_s,
                failures.mended_s,
            )
        ],
        "over": bool(failures.mended_s[row] < log.duration_s),
    }


def _power(opened: Reopened, window: Window) -> list[list[Any]]:
    """[site, what, from, to] of lost mains, dark sites and planned work."""
    return [*_power_rows(opened.draws.log, window)] if opened.draws.log is not None else []


def _power_rows(log: FailureLog, window: Window) -> Iterator[list[Any]]:
    kinds: Mapping[str, Any] = {
        "mains lost": log.sites.mains_lost,
        "without power": log.sites.power_down,
        "planned work": log.sites.maintenance,
    }
    for what, intervals in kinds.items():
        for site in range(intervals.n_rows):
            for start_s, end_s in zip(*intervals.of(site), strict=True):
                if start_s < window[1] and end_s > window[0]:
                    yield [
                        site,
                        what,
                        round(float(start_s) - window[0], 1),
                        round(float(end_s) - window[0], 1),
                    ]
