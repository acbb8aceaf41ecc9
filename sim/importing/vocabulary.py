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

PLACES: Mapping[str, Meaning] = {
    "latitude": Meaning(
        "angle",
        (r"\blat(itud\w*)?\b", r"\bbreite\w*", r"\bgeo\w*breite", r"\bszer\w*", r"широт\w*"),
        "deg",
        -90,
        90,
    ),
    "longitude": Meaning(
        "angle",
        (
            r"\b(lon|long|lng)\b",
            r"\blongitud\w*",
            r"\blaenge\w*",
            r"\blange(ngrad)?\b",
            r"\bgeo\w*lange",
            r"\blengte\w*",
            r"\bdlug\w*",
            r"долгот\w*",
        ),
        "deg",
        -180,
        180,
    ),
    "easting": Meaning(
        "number",
        (r"\beasting\b", r"\brechtswert\b", r"\best\b", r"\bx( coord\w*)?$", r"\butm e\b"),
        "",
        -1e7,
        1e7,
    ),
    "northing": Meaning(
        "number",
        (r"\bnorthing\b", r"\bhochwert\b", r"\bnord\b", r"\by( coord\w*)?$", r"\butm n\b"),
        "",
        -1e7,
        2e7,
    ),
    "ground_height": Meaning(
        "number",
        (
            r"\bground( height| level| elevation)?\b",
            r"\belev\w*",
            r"\baltitud\w*",
            r"\bquota\b",
            r"\bcota\b",
            r"\ba?m?sl\b",
            r"\b(gelande)?hohe\b",
            r"\bhoehe\b",
            r"\bnhn?\b",
            r"\bterrain\b",
            r"\bhoogte\b",
            r"\bwysokosc\b",
            r"\bheight$",
        ),
        "m",
        -450,
        6000,
    ),
    "antenna_height": Meaning(
        "number",
        (
            r"\bagl\b",
            r"\bant\w* (center |centre )?(height|ht|hgt|elevation)\b",
            r"\b(height|hauteur|altura|altezza|hohe|hoogte)\b.*\bant\w*",
            r"\bantennen?hohe\b",
            r"\bant\w* (hohe|hauteur|altura|altezza|hoogte)\b",
        ),
        "m",
        0.5,
        500,
    ),
}
"""What sites have, and also each end of a hop."""

SITES: Mapping[str, Meaning] = {
    "id": Meaning("text", (rf"^({_SITE} )?{_ID}$", rf"^{_SITE}{_ID}$", rf"^{_ID} {_SITE}$", rf"^{_SITE}$")),
    "name": Meaning(
        "text", (rf"^({_SITE} )?{_NAME}$", rf"^{_SITE}s?{_NAME}$", rf"^{_SITE}$", rf"^{_NAME} \w* ?{_SITE}$")
    ),
    **PLACES,
}

HOPS: Mapping[str, Meaning] = {
    "id": Meaning("text", (rf"^{_HOP} {_ID}$", rf"^{_HOP}{_ID}$", rf"^{_ID}$", rf"^{_ID} \w* ?{_HOP}$")),
    "name": Meaning(
        "text",
        (rf"^{_HOP} {_NAME}$", rf"^{_HOP}n?{_NAME}$", rf"^{_HOP}$", rf"^{_NAME}$", rf"^{_NAME} \w* ?{_HOP}$"),
    ),
    "site": Meaning(
        "text",
        (rf"^({_SITE} )?{_ID}$", rf"^{_SITE}$", r"^$", rf"^{_SITE}{_ID}$", r"^end( point)?$", r"^terminal$"),
    ),
    "site_name": Meaning(
        "text", (rf"^{_SITE} {_NAME}$", rf"^{_SITE}{_NAME}$", rf"^{_NAME}$", rf"^{_NAME} \w* ?{_SITE}$")
    ),
    **PLACES,
    "frequency": Meaning(
        "number",
        (
            r"\bfreq\w*",
            r"\b(sende|mitten)?frequenz\w*",
            r"\bfrecuencia\w*",
            r"\bczestotliwosc\w*",
            r"част\w*",
            r"\bghz\b",
        ),
        "GHz",
        1,
        100,
    ),
    "band": Meaning(
        "number",
        (
            r"\bband\b",
            r"\bfrequency band\b",
            r"\bfrequenzband\b",
            r"\bbande\b",
            r"\bbanda\b",
            r"\bfreq\w* band\b",
        ),
        "GHz",
        1,
        100,
    ),
    "channel_width": Meaning(
        "number",
        (
            r"\b(channel|ch)\b.*\b(width|spacing|bandwidth|bw|size|separation)\b",
            r"\b(bandwidth|bw)\b",
            r"\bkanal(breite|bandbreite|abstand|raster)\b",
            r"\bbandbreite\b",
            r"\blargeur\b",
            r"\bancho\b",
            r"\bcanalisation\b",
            r"\bcanalizacion\b",
            r"\blarghezza\b",
            r"\blargura\b",
            r"\bkanaalbreedte\b",
            r"\bbandbreedte\b",
            r"\bcanalizzazione\b",
        ),
        "MHz",
        0.02,
        4000,
    ),
    "polarisation": Meaning("polarisation", (r"\bpol\w*",)),
    "radio": Meaning(
        "text",
        (
            r"\bradio( type| model| name| equipment)?$",
            r"\b(equipment|eqpt|equipo|equipement|gerat|gerate|apparato|equipamento)\b( type| model)?",
            r"\b(radio|gerate)?(typ|type|modell)$",
            r"\bodu\b",
        ),
    ),
    "transmit_power": Meaning(
        "number",
        (
            r"\b(tx|transmit\w*|output|rf)? ?(power|pwr)\b",
            r"\b(sende)?leistung\b",
            r"\bpuissance\b",
            r"\bpotenc?z?[iz]?a\b",
            r"\bptx\b",
            r"\bzendvermogen\b",
            r"\bsendeleistung\b",
            r"\bmoc\b",
        ),
        "dBm",
        -30,
        50,
    ),
    "lowest_modulation": Meaning(
        "modulation",
        (
            r"\b(min\w*|lowest|low|base|reference|ref)\b.*\bmod\w*",
            r"\bmod\w*.*\b(min\w*|lowest|reference|ref|base)\b",
        ),
    ),
    "highest_modulation": Meaning(
        "modulation",
        (
            r"\b(max\w*|highest|high|top|peak|acm|adaptive)\b.*\bmod\w*",
            r"\bmod\w*.*\b(max\w*|highest|top|acm|adapt\w*)\b",
            r"\bacm\b",
        ),
    ),
    "modulation": Meaning(
        "modulation", (r"\bmod(ulation|ulacion|ulazione|ulacao|ulatie|ulacja)?\b", r"\bqam\b")
    ),
    "scheme": Meaning(
        "scheme",
        (
            r"\bconfig\w*",
            r"\bprotect\w*",
            r"\bproteccion\b",
            r"\bprotezione\b",
            r"\bprotecao\b",
            r"\bschutz\w*",
            r"\bscheme\b",
            r"\bredundan\w*",
            r"\bschema\b",
            r"\bersatzschaltung\b",
            r"\bbeveiliging\b",
            r"\bkonfig\w*",
        ),
    ),
    "diameter": Meaning(
        "number",
        (
            r"\b(ant\w*|dish|reflector|spiegel)?.*\b(diam\w*|size|dia)\b",
            r"\b(antennen)?durchmesser\b",
            r"^(ant\w*|dish|reflector|spiegel)( m| ft| cm)?$",
            r"\bantennendurchmesser\b",
            r"\bdiametro\b",
            r"\bsrednica\b",
            r"\bdish\b",
        ),
        "m",
        0.05,
        10,
    ),
    "gain": Meaning(
        "number",
        (
            r"\b(ant\w* )?gain\b",
            r"\b(antennen)?gewinn\b",
            r"\bganancia\b",
            r"\bguadagno\b",
            r"\bganho\b",
            r"\bantennewinst\b",
        ),
        "dBi",
        5,
        70,
    ),
    "length": Meaning(
        "number",
        (
            rf"\b{_HOP}? ?(length|distance|dist)\b",
            r"\b(strecken)?lange\b",
            r"\blongueur\b",
            r"\bdistan\w+",
            r"\blunghezza\b",
            r"\blongitud (del )?(enlace|vano)\b",
            r"\bentfernung\b",
            r"\bafstand\b",
            r"\bcomprimento\b",
            r"\bodleglosc\b",
        ),
        "km",
        0.01,
        1000,
    ),
    "loss": Meaning(
        "number",
        (
            r"\b(feeder|line|cable|branching|waveguide|fixed|misc\w*|tx|other|additional) loss\w*",
            r"\b(zusatz|kabel|leitungs)dampfung\b",
            r"\bperte\w*",
            r"\bperdida\w*",
            r"\bperdit\w*",
        ),
        "dB",
        0,
        60,
    ),
    "capacity": Meaning(
        "number",
        (
            r"\b(capacity|throughput|bitrate|bit rate|data rate)\b",
            r"\bkapazitat\b",
            r"\bdebit\b",
            r"\bcapa\w+",
            r"\bcapaci?t\w+",
            r"\bpojemnosc\b",
        ),
        "Mbit/s",
        0.1,
        100_000,
    ),
    "threshold": Meaning(
        "number",
        (
            r"\b(rx |receiver? )?(threshold|sensitivity)\b",
            r"\b(empfangs)?schwelle\b",
            r"\bseuil\b",
            r"\bumbral\b",
            r"\bsoglia\b",
            r"\bsensib\w+",
        ),
        "dBm",
        -120,
        0,
    ),
    "noise_figure": Meaning(
        "number", (r"\bnoise figure\b", r"^nf$", r"\brauschzahl\b", r"\bfacteur de bruit\b"), "dB", 0, 20
    ),
}

_SERVICE = r"(service|circuit|connection|dienst|servicio|servizio|servico|usluga|leitung)"
_RATE = (
    r"(rate|bandwidth|bw|capacity|throughput|bitrate|bit rate|data rate|datenrate|bandbreite|kapazitat|debit"
    r"|capacidad|capacita|capacidade|capaciteit|bandbreedte|ancho de banda|traffic|demand|verkehr)"
)

SERVICES: Mapping[str, Meaning] = {
    "id": Meaning(
        "text",
        (rf"^({_SERVICE} |demand |traffic )?{_ID}$", rf"^{_SERVICE}s?{_ID}$", rf"^{_ID} {_SERVICE}$"),
    ),
    "name": Meaning("text", (rf"^({_SERVICE} )?{_NAME}$", rf"^{_SERVICE}s?{_NAME}$", rf"^{_SERVICE}$")),
    "site": HOPS["site"],
    "site_name": HOPS["site_name"],
    "committed": Meaning(
        "number",
        (
            r"^mbps$",
            rf"\b{_RATE}\b",
            rf"\b(committed|cir|guaranteed|min\w*|required|garant\w*|mindest\w*)\b( {_RATE})?",
        ),
        "Mbit/s",
        0.001,
        999_999,
    ),
    "peak": Meaning(
        "number",
        (rf"\b(peak|max\w*|pir|spitze\w*|hochst\w*|pico|pointe|picco)\b( {_RATE})?",),
        "Mbit/s",
        0.001,
        999_999,
    ),
    "priority": Meaning("number", (r"\bprio\w*", r"\bvorrang\b"), "", 1, 8),
    "protection": Meaning(
        "protection",
        (r"\bprotect\w*", r"\bproteccion\b", r"\bprotezione\b", r"\bprotecao\b", r"\bschutz\w*",
         r"\bredundan\w*", r"\brestor\w*", r"\brout\w*", r"\bersatzweg\b", r"\bbeveiliging\b"),
    ),
    "availability": Meaning(
        "number",
        (r"\bavail\w*( objective| target)?", r"\bverfugbarkeit\b", r"\bdisponib\w+", r"\bbeschikbaarheid\b",
         r"\bdostepnosc\b"),
        "",
        0.5,
        99.99999999,
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
