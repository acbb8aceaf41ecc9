"""Words of the trade by which columns are known: what a header may say for a field, in several languages.

Headers are compared as ``cells.plain`` leaves them: lower case, no accents, signs as blanks. Only words of
the trade at large stand here (common practice, no source).
"""

from collections.abc import Mapping
from typing import NamedTuple


class Meaning(NamedTuple):
    """What a column may hold.

    Attributes
    ----------
    kind : str
        How its cells are read: text, angle, number, modulation, polarisation, scheme or protection.
    words : tuple of str
        Regular expressions; one found in a header speaks for this meaning.
    unit : str
        Unit in which numbers are kept.
    low, high : float
        Range of numbers that are believed.
    """

    kind: str
    words: tuple[str, ...]
    unit: str = ""
    low: float = float("-inf")
    high: float = float("inf")


_SITE = (
    r"(site|station|location|node|pop|tower|standort|ort|sitio|estacion|emplacement|stazione|sito|estacao"
    r"|locatie|stacja)"
)
_HOP = (
    r"(hop|link|path|strecke|richtfunkstrecke|liaison|faisceau|bond|enlace|radioenlace|vano|tratta|ligacao"
    r"|verbinding|straal|linia)"
)
_ID = (
    r"(id|ids|code|no|nr|num|number|nummer|kennung|kurzel|ref|key|short name|codigo|codice|kod|identifiant"
    r"|identificador)"
)
_NAME = r"(name|names|nom|nombre|nome|naam|nazwa|bezeichnung|label|title)"


def _meaning(
    kind: str, words: str, unit: str = "", low: float = float("-inf"), high: float = float("inf")
) -> Meaning:
    """A meaning from expressions with ", " between: whole words unless they begin with ^ or a boundary."""
    expressions = (each if each.startswith(("^", r"\b")) else rf"\b{each}\b" for each in words.split(", "))
    return Meaning(kind, tuple(expressions), unit, low, high)


PLACES: Mapping[str, Meaning] = {
    "latitude": _meaning(
        "angle", r"lat(itud\w*)?, breite\w*, \bgeo\w*breite, szer\w*, \w*широт\w*", "deg", -90, 90
    ),
    "longitude": _meaning(
        "angle",
        r"(lon|long|lng), longitud\w*, laenge\w*, lange(ngrad)?, \bgeo\w*lange, lengte\w*, dlug\w*, "
        r"\w*долгот\w*",
        "deg", -180, 180,
    ),
    "easting": _meaning("number", r"easting, rechtswert, est, \bx( coord\w*)?$, utm e", "", -1e7, 1e7),
    "northing": _meaning("number", r"northing, hochwert, nord, \by( coord\w*)?$, utm n", "", -1e7, 2e7),
    "ground_height": _meaning(
        "number",
        r"ground( height| level| elevation)?, elev\w*, altitud\w*, quota, cota, a?m?sl, (gelande)?hohe, "
        r"hoehe, nhn?, terrain, hoogte, wysokosc, \bheight$",
        "m", -450, 6000,
    ),
    "antenna_height": _meaning(
        "number",
        r"agl, ant\w* (center |centre )?(height|ht|hgt|elevation), antennen?hohe, "
        r"(height|hauteur|altura|altezza|hohe|hoogte)\b.*\bant\w*, "
        r"ant\w* (hohe|hauteur|altura|altezza|hoogte)",
        "m", 0.5, 500,
    ),
}  # fmt: skip
"""What sites have, and also each end of a hop."""

SITES: Mapping[str, Meaning] = {
    "id": _meaning("text", rf"^({_SITE} )?{_ID}$, ^{_SITE}{_ID}$, ^{_ID} {_SITE}$, ^{_SITE}$"),
    "name": _meaning("text", rf"^({_SITE} )?{_NAME}$, ^{_SITE}s?{_NAME}$, ^{_SITE}$, ^{_NAME} \w* ?{_SITE}$"),
    **PLACES,
}

HOPS: Mapping[str, Meaning] = {
    "id": _meaning("text", rf"^{_HOP} {_ID}$, ^{_HOP}{_ID}$, ^{_ID}$, ^{_ID} \w* ?{_HOP}$"),
    "name": _meaning(
        "text", rf"^{_HOP} {_NAME}$, ^{_HOP}n?{_NAME}$, ^{_HOP}$, ^{_NAME}$, ^{_NAME} \w* ?{_HOP}$"
    ),
    "site": _meaning(
        "text", rf"^({_SITE} )?{_ID}$, ^{_SITE}$, ^$, ^{_SITE}{_ID}$, ^end( point)?$, ^terminal$"
    ),
    "site_name": _meaning("text", rf"^{_SITE} {_NAME}$, ^{_SITE}{_NAME}$, ^{_NAME}$, ^{_NAME} \w* ?{_SITE}$"),
    **PLACES,
    "frequency": _meaning(
        "number",
        r"freq\w*, (sende|mitten)?frequenz\w*, frecuencia\w*, czestotliwosc\w*, \w*част\w*, ghz",
        "GHz", 1, 100,
    ),
    "band": _meaning(
        "number", r"band, frequency band, frequenzband, bande, banda, freq\w* band", "GHz", 1, 100
    ),
    "channel_width": _meaning(
        "number",
        r"(channel|ch)\b.*\b(width|spacing|bandwidth|bw|size|separation), (bandwidth|bw), "
        r"kanal(breite|bandbreite|abstand|raster), bandbreite, largeur, ancho, canalisation, "
        r"canalizacion, larghezza, largura, kanaalbreedte, bandbreedte, canalizzazione",
        "MHz", 0.02, 4000,
    ),
    "polarisation": _meaning("polarisation", r"pol\w*"),
    "radio": _meaning(
        "text",
        r"\bradio( type| model| name| equipment)?$, \b(radio|gerate)?(typ|type|modell)$, odu, "
        r"\b(equipment|eqpt|equipo|equipement|gerat|gerate|apparato|equipamento)\b( type| model)?",
    ),
    "transmit_power": _meaning(
        "number",
        r"(tx|transmit\w*|output|rf)? ?(power|pwr), (sende)?leistung, puissance, potenc?z?[iz]?a, ptx, "
        r"zendvermogen, moc",
        "dBm", -30, 50,
    ),
    "lowest_modulation": _meaning(
        "modulation",
        r"(min\w*|lowest|low|base|reference|ref)\b.*\bmod\w*, mod\w*.*\b(min\w*|lowest|reference|ref|base)",
    ),
    "highest_modulation": _meaning(
        "modulation",
        r"(max\w*|highest|high|top|peak|acm|adaptive)\b.*\bmod\w*, "
        r"mod\w*.*\b(max\w*|highest|top|acm|adapt\w*), acm",
    ),
    "modulation": _meaning("modulation", r"mod(ulation|ulacion|ulazione|ulacao|ulatie|ulacja)?, qam"),
    "scheme": _meaning(
        "scheme",
        r"config\w*, protect\w*, proteccion, protezione, protecao, schutz\w*, scheme, redundan\w*, schema, "
        r"ersatzschaltung, beveiliging, konfig\w*",
    ),
    "diameter": _meaning(
        "number",
        r"(ant\w*|dish|reflector|spiegel)?.*\b(diam\w*|size|dia), (antennen)?durchmesser, diametro, "
        r"srednica, ^(ant\w*|dish|reflector|spiegel)( m| ft| cm)?$, dish",
        "m", 0.05, 10,
    ),
    "gain": _meaning(
        "number",
        r"(ant\w* )?gain, (antennen)?gewinn, ganancia, guadagno, ganho, antennewinst",
        "dBi", 5, 70,
    ),
    "length": _meaning(
        "number",
        rf"{_HOP}? ?(length|distance|dist), (strecken)?lange, longueur, distan\w+, lunghezza, "
        r"longitud (del )?(enlace|vano), entfernung, afstand, comprimento, odleglosc",
        "km", 0.01, 1000,
    ),
    "loss": _meaning(
        "number",
        r"(feeder|line|cable|branching|waveguide|fixed|misc\w*|tx|other|additional) loss\w*, "
        r"(zusatz|kabel|leitungs)dampfung, perte\w*, perdida\w*, perdit\w*",
        "dB", 0, 60,
    ),
    "capacity": _meaning(
        "number",
        r"(capacity|throughput|bitrate|bit rate|data rate), kapazitat, debit, capa\w+, capaci?t\w+, "
        r"pojemnosc",
        "Mbit/s", 0.1, 100_000,
    ),
    "threshold": _meaning(
        "number",
        r"(rx |receiver? )?(threshold|sensitivity), (empfangs)?schwelle, seuil, umbral, soglia, sensib\w+",
        "dBm", -120, 0,
    ),
    "noise_figure": _meaning("number", r"noise figure, ^nf$, rauschzahl, facteur de bruit", "dB", 0, 20),
}  # fmt: skip

_SERVICE = r"(service|circuit|connection|dienst|servicio|servizio|servico|usluga|leitung)"
_RATE = (
    r"(rate|bandwidth|bw|capacity|throughput|bitrate|bit rate|data rate|datenrate|bandbreite|kapazitat|debit"
    r"|capacidad|capacita|capacidade|capaciteit|bandbreedte|ancho de banda|traffic|demand|verkehr)"
)

SERVICES: Mapping[str, Meaning] = {
    "id": _meaning(
        "text", rf"^({_SERVICE} |demand |traffic )?{_ID}$, ^{_SERVICE}s?{_ID}$, ^{_ID} {_SERVICE}$"
    ),
    "name": _meaning("text", rf"^({_SERVICE} )?{_NAME}$, ^{_SERVICE}s?{_NAME}$, ^{_SERVICE}$"),
    "site": HOPS["site"],
    "site_name": HOPS["site_name"],
    "committed": _meaning(
        "number",
        rf"^mbps$, {_RATE}, \b(committed|cir|guaranteed|min\w*|required|garant\w*|mindest\w*)\b( {_RATE})?",
        "Mbit/s", 0.001, 999_999,
    ),
    "peak": _meaning(
        "number",
        rf"\b(peak|max\w*|pir|spitze\w*|hochst\w*|pico|pointe|picco)\b( {_RATE})?",
        "Mbit/s", 0.001, 999_999,
    ),
    "priority": _meaning("number", r"prio\w*, vorrang", "", 1, 8),
    "protection": _meaning(
        "protection",
        r"protect\w*, proteccion, protezione, protecao, schutz\w*, redundan\w*, restor\w*, rout\w*, "
        r"ersatzweg, beveiliging",
    ),
    "availability": _meaning(
        "number",
        r"\bavail\w*( objective| target)?, verfugbarkeit, disponib\w+, beschikbaarheid, dostepnosc",
        "", 0.5, 99.99999999,
    ),
}  # fmt: skip

MEANINGS = {"sites": SITES, "hops": HOPS, "services": SERVICES}
"""By table of an import, what its columns may hold."""

NEEDS_AN_END = frozenset({*PLACES, "site", "site_name"})
"""Meanings in a table of hops or services that say nothing without an end."""

AT_BOTH_ENDS = frozenset(
    {*PLACES, "site", "site_name", "frequency", "diameter", "gain", "loss", "transmit_power"}
)
"""Meanings in a table of hops or services that may stand once for each end."""

ENDS: tuple[tuple[frozenset[str], frozenset[str]], ...] = (
    (frozenset({"a", "aend"}), frozenset({"b", "z", "bend", "zend"})),
    (frozenset({"1", "01", "i"}), frozenset({"2", "02", "ii"})),
    (
        frozenset({"from", "von", "de", "da", "desde", "van", "od"}),
        frozenset({"to", "nach", "zu", "a", "hasta", "vers", "para", "naar", "do"}),
    ),
    (
        frozenset({"near", "ne", "nearend", "local", "nah"}),
        frozenset({"far", "fe", "farend", "remote", "fern", "distant", "remoto"}),
    ),
    (
        frozenset({"source", "src", "origin", "origen", "origine", "origem"}),
        frozenset({"target", "dst", "dest", "destination", "destino", "destinazione", "sink"}),
    ),
    (
        frozenset({"start", "begin", "anfang", "debut", "inicio", "inizio", "first"}),
        frozenset({"end", "stop", "ende", "fin", "fine", "fim", "einde", "second"}),
    ),
    (frozenset({"left", "links"}), frozenset({"right", "rechts"})),
    (frozenset({"low", "lower", "unten", "tx"}), frozenset({"high", "upper", "oben", "rx"})),
)
"""Words that tell the two ends of a hop apart, each with its counterpart."""
