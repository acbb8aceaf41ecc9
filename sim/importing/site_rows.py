"""Sites from rows of a table of sites, or from the ends of hops that carry coordinates."""

from pyproj import CRS, Transformer
from pyproj.exceptions import CRSError

from hopyears.models.basics.geometry import path_length_km
from hopyears.sim.importing.cells import plain
from hopyears.sim.importing.made import Ids, Made
from hopyears.sim.importing.row_reader import Findings, RowReader
from hopyears.sim.inputs.input_errors import InputError, shown

SAME_PLACE_KM = 0.1
"""Two places given for one site that are farther apart are told."""


class Sites:
    """Sites so far, found by what tables call them."""

    def __init__(self, findings: Findings) -> None:
        self.made: dict[str, Made] = {}
        self._ids = Ids()
        self._by_word: dict[str, str | None] = {}
        self._findings = findings

    def find(self, *words: str) -> str | None:
        """Id of the site that one of the words names; None where none does, or several do."""
        for word in words:
            found = self._by_word.get(plain(word)) if word else None
            if found:
                return found
        return None

    def names(self) -> list[str]:
        """What readers call them."""
        return [str(site.data.get("name", site.data["id"])) for site in self.made.values()]

    def add(self, code: str, name: str, place: tuple[float, float], where: str) -> Made:
        """The site of a code or name at a place; the one that is there already if there is one."""
        here = place_word(place)
        known = self.find(code, *(() if code else (name,)))
        if not known and (known := self.find(here)):
            label = str(self.made[known].data.get("name", known))
            self._findings.guess(f"{shown(code or name or here)} is {shown(label)}, at the same place", where)
        if known:
            site = self.made[known]
            apart = float(path_length_km(*place, site.data["latitude_deg"], site.data["longitude_deg"]))
            if apart > SAME_PLACE_KM:
                self._findings.doubts.append(
                    f"{where}: site {shown(code or name)} is {apart:.2f} km from where {site.origin} has it; "
                    "the first place is kept"
                )
            return site
        site_id = self._ids.new(code or name, f"site-{len(self.made) + 1}")
        data = {"id": site_id, "latitude_deg": round(place[0], 7), "longitude_deg": round(place[1], 7)}
        label = name or code
        if label and label != site_id:
            data["name"] = label[:80]
        made = self.made[site_id] = Made(data, where)
        for word in {plain(word) for word in (code, name, here) if word}:
            self._by_word[word] = site_id if word not in self._by_word else None
        return made


def place_word(place: tuple[float, float]) -> str:
    """A place as a word that finds its site, to some ten metres."""
    return f"site {place[0]:.4f} {place[1]:.4f}"


def sites_of_rows(reader: RowReader, sites: Sites) -> None:
    """Add the sites of a table of sites.

    Raises
    ------
    InputError
        If the table has no columns of coordinates.
    """
    place_of = _places(reader, "")
    for row in range(len(reader.table.rows)):
        place = place_of(row)
        code, name = reader.text(row, "id"), reader.text(row, "name")
        if place is None:
            reader.findings.unread.append(f"{reader.where(row)}: no coordinates, so the site is left out")
            continue
        made = sites.add(code, name, place, reader.where(row))
        heights(made, reader, row, "")


def heights(made: Made, reader: RowReader, row: int, end: str) -> None:
    """Give a site the heights that a row states, where it has none."""
    for field, key in (("ground_height", "ground_height_m"), ("antenna_height", "antenna_height_m")):
        if key == "antenna_height_m" and end:
            continue  # a hop's own
        value = reader.number(row, f"{field}{end}")
        if value is not None:
            made.data.setdefault(key, round(value, 2))


def sites_of_ends(reader: RowReader, sites: Sites) -> None:
    """Add the ends of hops that carry coordinates of their own and are no known site."""
    for end in ("_a", "_b"):
        if not {f"latitude{end}", f"easting{end}"} & reader.uses.keys():
            continue
        place_of = _places(reader, end)
        for row in range(len(reader.table.rows)):
            code, name = reader.text(row, f"site{end}"), reader.text(row, f"site_name{end}")
            if sites.find(code, name) is None and (place := place_of(row)) is not None:
                known = "" if code or name else sites.find(place_word(place))
                made = sites.made[known] if known else sites.add(code, name, place, reader.where(row))
                heights(made, reader, row, end)


def _places(reader: RowReader, end: str):  # type: ignore[no-untyped-def]
    """A function from row to latitude and longitude."""
    if {f"latitude{end}", f"longitude{end}"} <= reader.uses.keys():

        def by_degrees(row: int) -> tuple[float, float] | None:
            found = (reader.angle(row, f"latitude{end}"), reader.angle(row, f"longitude{end}"))
            return None if found[0] is None or found[1] is None else (found[0], found[1])

        return by_degrees
    if not {f"easting{end}", f"northing{end}"} <= reader.uses.keys():
        columns = ", ".join(map(shown, reader.table.columns[:12]))
        raise InputError.one(
            f"{reader.table.file}: coordinates are not found among {columns}; must be columns of latitude "
            "and longitude, or of eastings and northings"
        )
    try:
        plane = CRS.from_user_input(reader.how.coordinates)
    except CRSError:
        found = shown(reader.how.coordinates)
        raise InputError.one(
            f"{reader.table.file}: coordinates is {found}; must be the system of its eastings and northings, "
            "as EPSG:25832, in the mapping file"
        ) from None
    to_degrees = Transformer.from_crs(plane, CRS.from_epsg(4326), always_xy=True)

    def by_plane(row: int) -> tuple[float, float] | None:
        east, north = reader.number(row, f"easting{end}"), reader.number(row, f"northing{end}")
        if east is None or north is None:
            return None
        longitude, latitude = to_degrees.transform(east, north)
        return (latitude, longitude) if abs(latitude) <= 90.0 and abs(longitude) <= 180.0 else None

    return by_plane
