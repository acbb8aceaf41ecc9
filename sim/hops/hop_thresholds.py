"""What each equipment state of a hop can stand: thresholds of rain and fades for every modulation.

Everything about rain becomes a threshold on the hop's *raw reference attenuation* (the cell model's
attenuation at the first channel): the fade margin, the loss of a standby's coupler, wet antennas, the other
polarisation, the cross-polar limit of co-channel carriers, the anchoring. Everything about multipath
becomes a threshold on the raw relative power of a receive line.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from hopyears.models.air import cross_polar, diversity, rain_scaling
from hopyears.models.air.fade_shape import LARGEST_RAW, mean_duration_s
from hopyears.models.basics.arrays import Bools, Floats, Ints
from hopyears.models.basics.frozen import frozen
from hopyears.models.equipment.link_states import LinkState, link_state
from hopyears.models.radio.modulation import SwitchRule, down_depth_db, hold_s, up_depth_db
from hopyears.models.radio.wet_antenna import path_rain_db
from hopyears.sim.hops.hop_design import HopDesign
from hopyears.sim.hops.modulation_steps import switch_rule
from hopyears.sim.multipath.fade_kernel import Thresholds
from hopyears.sim.multipath.night_law import NightLaw
from hopyears.sim.rain.anchoring import Anchor

CROSS_POLAR_SHARE_DB = 3.0
"""A threshold counts as cross-polar where interference costs this much margin: more than noise itself."""


LEAST_DEPTH_DB = 0.1
"""A modulation that so little rain takes counts as never carried, and one that is lost comes back once there
is no more than this: no rain at all cannot be asked for."""


@dataclass(frozen=True)
class StateThresholds:
    """Thresholds of one equipment state; axes: channel-direction (C), line set (L), modulation (M).

    Attributes
    ----------
    ceiling : int64, shape (C,)
        Modulations that can be used in clear air; 0 where no receive line is up.
    rain_down_db, rain_up_db : float64, shape (C, M)
        Raw reference attenuation at which a modulation is lost, and comes back.
    fades : Thresholds or None
        For the fade kernel; None on a hop without multipath.
    cross_polar_rain, cross_polar_fades : bool, shape (C, M)
        Interference rather than noise sets the threshold.
    causes : int64, shape (C,)
        What is missing of the equipment.
    """

    ceiling: Ints
    rain_down_db: Floats
    rain_up_db: Floats
    fades: Thresholds | None
    cross_polar_rain: Bools
    cross_polar_fades: Bools
    causes: Ints

    @property
    def lowest_rain_db(self) -> float:
        """Lowest raw attenuation that matters; infinite where nothing is up."""
        return float(self.rain_up_db[self.ceiling > 0].min(initial=np.inf))

    @property
    def highest_power(self) -> tuple[float, float]:
        """Largest raw relative power, flat and dispersive, that matters; 0 on a hop without multipath."""
        if self.fades is None:
            return 0.0, 0.0
        return float(self.fades.up[:2].max()), float(self.fades.up[2].max())


class HopThresholds:
    """Thresholds of one hop, by equipment state, remembered because states repeat.

    Parameters
    ----------
    design : HopDesign
    anchor : Anchor
        From raw to published rain attenuation.
    nights : NightLaw or None
        Multipath law; None on hops without it.
    rule : SwitchRule, optional
        Guard, hysteresis, hold and step rate of adaptive modulation; the radio's unless given.
    """

    def __init__(
        self, design: HopDesign, anchor: Anchor, nights: NightLaw | None, rule: SwitchRule | None = None
    ) -> None:
        self.design = design
        self.anchor = anchor
        self.nights = nights
        self.rule = rule or switch_rule(design.radio)
        self._known: dict[bytes, StateThresholds] = {}
        self._of_losses: dict[bytes, StateThresholds] = {}
        self._ceiling: dict[bytes, Ints] = {}
        self._steps: dict[tuple[object, ...], Floats] = {}

    @cached_property
    def _undisturbed(self) -> LinkState:
        structure = self.design.structure
        return link_state(structure, structure.all_up)

    @cached_property
    def nominal(self) -> StateThresholds:
        """Thresholds of the undisturbed equipment."""
        return self.of(self._undisturbed)

    @cached_property
    def full_mbit_s(self) -> Floats:
        """Capacity both ways of the undisturbed hop, shape (1, 2)."""
        return frozen(self.design.capacity_of_mbit_s(self.ceiling(self._undisturbed)[None, :]))

    def nominal_rain_margin_db(self) -> Floats:
        """Rain attenuation of the reference channel that each modulation stands, nominal equipment, (M,)."""
        return self._nominal_rain_margin_db

    @cached_property
    def _nominal_rain_margin_db(self) -> Floats:
        best = self.design.levels.margin_db[self._lines_of(0)].max(axis=0)
        return frozen(self._rain_margin_db(0, best, self._undisturbed))

    def cross_polar_rain_db(self) -> Floats | None:
        """Raw rain at which cross-polar interference alone takes each modulation of the reference channel.

        Shape (M,); None where no carrier shares its frequency. The antennas' own discrimination is left out,
        as P.530-18, section 4.2.2 leaves it out.
        """
        if not self.design.scheme.co_channel:
            return None
        limit_db = cross_polar.limiting_attenuation_db(
            frequency_ghz=self.design.hop.frequency_ghz,
            required_c_i_db=self.design.steps.required_snr_db,
            canceller_db=self.design.radio.canceller_improvement_db,
        )
        return self._raw_rain_db(0, np.minimum.accumulate(limit_db))

    def lowest_rain_db(self, states: Iterable[LinkState]) -> float:
        """Lowest raw attenuation that matters in any of these states; infinite where all are down."""
        return min((self.of(state).lowest_rain_db for state in states), default=np.inf)

    def highest_power(self, states: Iterable[LinkState]) -> tuple[float, float]:
        """Largest raw relative power, flat and dispersive, that matters in any of these states."""
        tops = np.array([self.of(state).highest_power for state in states]).reshape(-1, 2)
        return float(tops[:, 0].max(initial=0.0)), float(tops[:, 1].max(initial=0.0))

    def of(self, state: LinkState) -> StateThresholds:
        """Thresholds in an equipment state."""
        losses = _losses_of(state)
        key = losses + state.causes.tobytes()
        if key not in self._known:
            if losses not in self._of_losses:
                self._of_losses[losses] = self._computed(state)
            self._known[key] = replace(self._of_losses[losses], causes=state.causes.reshape(-1).copy())
        return self._known[key]

    def ceiling(self, state: LinkState) -> Ints:
        """Modulations that an equipment state leaves in clear air, of each channel-direction."""
        losses = _losses_of(state)
        if losses not in self._ceiling:
            ceiling = np.zeros(self.design.n_channel_directions, dtype=np.int64)
            for c, _, limited in self._margins(state):
                down = down_depth_db(limited, self.rule)
                ceiling[c] = int(np.logical_and.accumulate(down > LEAST_DEPTH_DB).sum())
            self._ceiling[losses] = frozen(ceiling)
        return self._ceiling[losses]

    def _margins(self, state: LinkState) -> Iterator[tuple[int, Floats, Floats]]:
        """Channel-directions with a line up: the margin of their best line, and the rain they stand."""
        margin = self._margin_db(state)
        for c in range(self.design.n_channel_directions):
            lines = self._lines_of(c)
            if state.line_up[lines].any():
                best = margin[lines].max(axis=0)
                yield c, best, self._rain_margin_db(c, best, state)

    def _margin_db(self, state: LinkState) -> Floats:
        """Margin of every line and modulation, shape (n_lines, M)."""
        lost_db = np.where(state.line_up, state.extra_loss_db, np.inf)
        return np.asarray(self.design.levels.margin_db - lost_db[:, None])

    def _computed(self, state: LinkState) -> StateThresholds:
        design, ceiling = self.design, self.ceiling(state)
        n, m = design.n_channel_directions, len(design.steps)
        rain_down, rain_up = np.zeros((n, m)), np.zeros((n, m))
        crossed = np.zeros((n, m), dtype=bool)
        for c, best, limited in self._margins(state):
            down, up = down_depth_db(limited, self.rule), up_depth_db(limited, self.rule)
            crossed[c] = path_rain_db(best, design.levels.wet_loss_db) - limited > CROSS_POLAR_SHARE_DB
            rain_down[c] = self._raw_rain_db(c, _capped(np.minimum.accumulate(down), ceiling[c]))
            regained = np.maximum(np.minimum.accumulate(np.minimum(up, down)), LEAST_DEPTH_DB)
            rain_up[c] = self._raw_rain_db(c, _capped(regained, ceiling[c]))
        fades, crossed_fades = self._fade_thresholds(state, self._margin_db(state), ceiling)
        causes = state.causes.reshape(-1).copy()
        return StateThresholds(ceiling, rain_down, rain_up, fades, crossed, crossed_fades, causes)

    def _lines_of(self, channel_direction: int) -> list[int]:
        direction, channel = divmod(channel_direction, len(self.design.channels))
        return [
            line.index
            for line in self.design.lines
            if line.direction == direction and line.channel == channel
        ]

    def _canceller_db(self, channel_direction: int, state: LinkState) -> float | None:
        """Improvement of a channel's cross-polar canceller [dB]; None where no partner interferes.

        The canceller subtracts what the other polarisation's receiver hears: while that receiver is dead and
        its transmitter is not, the interference comes in whole (common practice, no source).
        """
        direction, channel = divmod(channel_direction, len(self.design.channels))
        partner = self.design.channels[channel].partner
        if partner is None or not state.transmitter_up[direction, partner]:
            return None
        lines = self._lines_of(direction * len(self.design.channels) + partner)
        return self.design.radio.canceller_improvement_db if state.receiver_up[lines].any() else 0.0

    def _rain_margin_db(self, channel_direction: int, margin_db: Floats, state: LinkState) -> Floats:
        """Rain on the path that a channel stands, shape (M,): wet antennas, noise, cross-polar interference.

        Interference falls with the antennas' loss as the signal does.
        """
        canceller_db = self._canceller_db(channel_direction, state)
        return self._once(
            "rain", margin_db, canceller_db, lambda: self._cancelled_db(margin_db, canceller_db)
        )

    def _cancelled_db(self, margin_db: Floats, canceller_db: float | None) -> Floats:
        margin = path_rain_db(np.maximum(margin_db, 0.0), self.design.levels.wet_loss_db)
        if canceller_db is None:
            return margin
        return np.minimum(
            margin,
            cross_polar.co_channel_fade_margin_db(
                clear_snr_db=margin + self.design.steps.required_snr_db,
                required_snr_db=self.design.steps.required_snr_db,
                frequency_ghz=self.design.hop.frequency_ghz,
                canceller_db=canceller_db,
                antenna_discrimination_db=self.design.levels.antenna_discrimination_db,
            ),
        )

    def _raw_rain_db(self, channel_direction: int, depth_db: Floats) -> Floats:
        """A channel's attenuation as raw attenuation of the reference channel."""
        channel = self.design.channels[channel_direction % len(self.design.channels)]
        other = self.design.other_polarisation(channel)
        return self._once("raw", depth_db, other, lambda: self._of_reference_db(depth_db, other))

    def _of_reference_db(self, depth_db: Floats, other_polarisation: bool) -> Floats:
        reference = np.maximum(depth_db, 0.0)
        if other_polarisation:
            scaled = (
                rain_scaling.vertical_from_horizontal_db
                if self.design.hop.polarisation == "V"
                else rain_scaling.horizontal_from_vertical_db
            )
            reference = scaled(reference)
        return np.asarray(self.anchor.raw(reference), dtype=np.float64)

    def _fade_thresholds(
        self, state: LinkState, margin: Floats, ceiling: Ints
    ) -> tuple[Thresholds | None, Bools]:
        design, nights = self.design, self.nights
        n, m = design.n_channel_directions, len(design.steps)
        crossed = np.zeros((n, m), dtype=bool)
        if nights is None:
            return None, crossed
        index = line_set_index(design)
        n_lines = max(index) + 1
        usable = np.zeros((n, n_lines), dtype=bool)
        down, up = np.zeros((3, n, n_lines, m)), np.zeros((3, n, n_lines, m))
        dispersive = self._dispersive_threshold
        for c in range(n):
            interference = self._interference_power(c, state, nights)
            for line in self._lines_of(c):
                if not state.line_up[line] or not ceiling[c]:
                    continue
                at = index[line]
                usable[c, at] = True
                depth = np.minimum.accumulate(np.maximum(margin[line], 0.0))
                flat = self._raw_power(nights, _capped(down_depth_db(depth, self.rule), ceiling[c]))
                clear = self._raw_power(nights, _capped(up_depth_db(depth, self.rule), ceiling[c]))
                crossed[c] |= interference > flat[0]
                down[:2, c, at] = flat + _capped(interference, ceiling[c])
                up[:2, c, at] = clear + _capped(interference, ceiling[c])
                down[2, c, at] = up[2, c, at] = _capped(dispersive, ceiling[c])
        down = np.minimum(down, LARGEST_RAW)
        up = np.clip(up, down, LARGEST_RAW)
        return Thresholds(usable, down, up, hold_s(m, self.rule)), crossed

    def _raw_power(self, nights: NightLaw, depth_db: Floats) -> Floats:
        return self._once("power", depth_db, None, lambda: nights.depth_map.raw_threshold(depth_db))

    def _once(self, what: str, steps: Floats, also: float | None, make: Callable[[], Floats]) -> Floats:
        """What is made of the modulations' steps, once: channels and states have most of them in common."""
        key = (what, steps.tobytes(), also)
        if key not in self._steps:
            self._steps[key] = frozen(np.asarray(make(), dtype=np.float64))
        return self._steps[key]

    @cached_property
    def _dispersive_threshold(self) -> Floats:
        design, nights = self.design, self.nights
        assert nights is not None  # else nothing fades
        outage = diversity.signature_outage(
            nights.occurrence_worst,
            width_ghz=design.steps.signature_width_ghz,
            depth_db=design.steps.signature_depth_db,
            path_length_km=design.path.length_km,
            reference_delay_ns=design.radio.signature_delay_ns,
        )
        return np.maximum.accumulate(outage / nights.occurrence_worst)

    def _interference_power(self, channel_direction: int, state: LinkState, nights: NightLaw) -> Floats:
        """Cross-polar interference in clear air as added raw relative power, shape (M,)."""
        canceller_db = self._canceller_db(channel_direction, state)
        if canceller_db is None:
            return np.zeros(len(self.design.steps))
        margin = cross_polar.clear_air_margin_db(
            nights.occurrence_worst,
            antenna_discrimination_db=self.design.levels.antenna_discrimination_db,
            required_c_i_db=self.design.steps.required_snr_db,
            canceller_db=canceller_db,
        )
        return np.asarray(10.0 ** (-margin / 10.0), dtype=np.float64)


def _losses_of(state: LinkState) -> bytes:
    """All of a state that decides thresholds."""
    return state.extra_loss_db.tobytes() + state.transmitter_up.tobytes() + state.receiver_up.tobytes()


def _capped(by_step: Floats, ceiling: int) -> Floats:
    """Steps that clear air does not allow take the value of the highest that it does: no event is theirs."""
    capped = by_step.copy()
    if 0 < ceiling < len(capped):
        capped[ceiling:] = capped[ceiling - 1]
    return capped


def line_set_index(design: HopDesign) -> list[int]:
    """For each receive line of the scheme, its place in the hop's set of fading lines.

    Both polarisations of a frequency fade together, so they share one fading line. The order is by
    antenna, frequency, direction: a plan that adds an antenna or a frequency leaves the old lines first.
    """
    keys = [(line.antenna, line.frequency_index, line.direction) for line in design.lines]
    order = {key: place for place, key in enumerate(sorted(set(keys)))}
    return [order[key] for key in keys]


def fade_duration_s(design: HopDesign) -> float:
    """Mean duration of a fade below relative amplitude L is this times L [s]."""
    return float(mean_duration_s(design.path.length_km))
