"""Entries of a network file from the rows of hops: radios and antennas by kind, hops that name them."""

from collections import Counter

from hopyears.models.basics.geometry import path_length_km
from hopyears.models.radio.scheme import parse_scheme
from hopyears.sim.importing.hop_rows import HopRow
from hopyears.sim.importing.made import Ids, Made
from hopyears.sim.importing.mapping import Assumed
from hopyears.sim.importing.row_reader import Findings
from hopyears.sim.importing.site_rows import Sites

Key = tuple[object, ...]

LENGTH_SHARE = 0.03
LENGTH_KM = 0.3
"""A stated length that differs from that of the coordinates by more than both is doubted."""


class Entries:
    """Radios, antennas and hops so far."""

    def __init__(self, sites: Sites, assumed: Assumed, findings: Findings) -> None:
        self.radios: dict[Key, Made] = {}
        self.antennas: dict[Key, Made] = {}
        self.hops: list[Made] = []
        self._ids = {name: Ids() for name in ("radios", "antennas", "hops")}
        self._sites, self._assumed, self._findings = sites, assumed, findings

    def add_all(self, rows: list[HopRow]) -> None:
        """A hop for each row, with the radio and antennas that it needs."""
        powers: dict[Key, Counter[float]] = {}
        for row in rows:
            powers.setdefault(_radio_key(row), Counter())[self._power(row)] += 1
        usual = {key: counts.most_common(1)[0][0] for key, counts in powers.items()}
        for row in rows:
            self._add(row, usual[_radio_key(row)])

    def _power(self, row: HopRow) -> float:
        """Transmit power of a row [dBm]: of two ends the mean, of none that assumed."""
        stated = list(row.power_dbm.values())
        if len(set(stated)) > 1:
            self._findings.guess("of two transmit powers the mean is taken", row.where)
        if not stated:
            self._findings.guess(
                f"transmit power is assumed, {self._assumed.transmit_power_dbm:g} dBm", row.where
            )
        return round(sum(stated) / len(stated), 2) if stated else self._assumed.transmit_power_dbm

    def _add(self, row: HopRow, usual_dbm: float) -> None:
        name = row.name or (row.code if row.code else "")
        hop_id = self._ids["hops"].new(row.code or row.name or f"{row.site_a}-{row.site_b}", "hop")
        data: dict[str, object] = {"id": hop_id}
        if name and name != hop_id:
            data["name"] = name[:80]
        data |= {"from": row.site_a, "to": row.site_b, "frequency_ghz": row.frequency_ghz,
                 "channel_width_mhz": row.channel_width_mhz}  # fmt: skip
        if row.polarisation in ("H", "V"):
            data["polarisation"] = row.polarisation
        data["radio"] = self._radio(row, usual_dbm).data["id"]
        if self._power(row) != usual_dbm:
            data["transmit_power_dbm"] = self._power(row)
        first, second = (self._antenna(row, end).data["id"] for end in "ab")
        data["antenna"] = first
        if second != first:
            data["antenna_b"] = second
        data["scheme"] = row.scheme or self._assumed.scheme
        if not row.scheme:
            self._findings.guess(f"scheme is assumed, {self._assumed.scheme}", row.where)
        for key, value in (
            ("antenna_height_a_m", row.ends["antenna_height_a"]),
            ("antenna_height_b_m", row.ends["antenna_height_b"]),
            ("fixed_loss_a_db", row.ends["loss_a"]),
            ("fixed_loss_b_db", row.ends["loss_b"]),
            ("duplex_spacing_mhz", row.duplex_mhz),
        ):
            if value:
                data[key] = round(value, 3)
        self._doubt_length(row)
        self.hops.append(Made(data, row.where, row.notes))

    def _doubt_length(self, row: HopRow) -> None:
        if row.length_km is None:
            return
        a, b = (self._sites.made[site].data for site in (row.site_a, row.site_b))
        own = float(
            path_length_km(a["latitude_deg"], a["longitude_deg"], b["latitude_deg"], b["longitude_deg"])
        )
        if abs(own - row.length_km) > max(LENGTH_KM, LENGTH_SHARE * own):
            text = (
                f"length is {row.length_km:.2f} km in the table, {own:.2f} km by the coordinates, which hold"
            )
            self._findings.doubts.append(f"{row.where}: {text}")

    def _radio(self, row: HopRow, usual_dbm: float) -> Made:
        key = _radio_key(row)
        if key not in self.radios:
            text = row.radio or f"radio-{row.frequency_ghz:.0f}ghz"
            data: dict[str, object] = {
                "id": self._ids["radios"].new(text, "radio"),
                "transmit_power_dbm": usual_dbm,
            }
            if row.noise_figure_db is not None:
                data["noise_figure_db"] = row.noise_figure_db
            steps: list[dict[str, object]] = [{"states": states} for states in row.steps]
            if not row.adaptive:
                data["adaptive"] = False
                own = _stated_step(row)
                if own:
                    data["channel_width_mhz"] = row.channel_width_mhz
                    steps[0] |= own
            data["modulations"] = steps
            self.radios[key] = Made(data, row.where, {"modulations": row.notes.get("radio", "")})
        return self.radios[key]

    def _antenna(self, row: HopRow, end: str) -> Made:
        gain, diameter = row.ends[f"gain_{end}"], row.ends[f"diameter_{end}"]
        if not gain and not diameter:
            diameter = self._assumed.antenna_diameter_m
            self._findings.guess(f"antenna is assumed, {diameter:g} m", row.where)
        key = (round(gain, 2),) if gain else ("m", round(diameter or 0.0, 3))
        if key not in self.antennas:
            text = f"antenna-{gain:.1f}dbi" if gain else f"dish-{diameter:.3g}m"
            field, value = ("gain_dbi", round(gain, 2)) if gain else ("diameter_m", round(diameter or 0.0, 3))
            made = Made({"id": self._ids["antennas"].new(text, "antenna"), field: value}, row.where)
            self.antennas[key] = made
        return self.antennas[key]


def _stated_step(row: HopRow) -> dict[str, object]:
    """Threshold and capacity of a carrier of a hop with one modulation, where the table has them."""
    own: dict[str, object] = {}
    if row.threshold_dbm is not None:
        own["threshold_dbm"] = row.threshold_dbm
    if row.capacity_mbit_s is not None:
        carriers = parse_scheme(row.scheme).working if row.scheme else 1
        own["capacity_mbit_s"] = round(row.capacity_mbit_s / carriers, 3)
    return own


def _radio_key(row: HopRow) -> Key:
    """What makes two hops take radios of one entry."""
    band = "" if row.radio else f"{row.frequency_ghz:.0f}"
    stated = () if row.adaptive else tuple(sorted(_stated_step(row).items()))
    width = row.channel_width_mhz if stated else None
    return row.radio, band, row.steps, row.adaptive, row.noise_figure_db, stated, width
