"""Tables of others become a network that ``check`` accepts; guesses and what is left out are told."""

import json
import tomllib
from pathlib import Path

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from hopyears.models.network.network import Network
from hopyears.sim.commands import main
from hopyears.sim.importing.geojson_in import tables_of_geojson
from hopyears.sim.importing.headers import headers_of
from hopyears.sim.inputs.input_errors import InputError
from hopyears.sim.inputs.network_file import read_network

GERMAN_SITES = (
    "Export Richtfunk\n\nStandort-Nr;Standortname;Breite;Länge;Höhe ü. NN [m];Bemerkung\n"
    "A1;Mühlberg;48°08'13,8\"N;11°34'34\"O;519;\nA2;Schöngrün;48,2;11,7;480,5;x\n"
    "A3;Haus am Ried;48,25;11,75;500;\nA4;Krähenhöhe;48,31;11,62;;\nA5;Kaputt;acht;11,6;400;\n"
)
GERMAN_HOPS = (
    "Strecke;Standort A;Standort B;Frequenz [MHz];Kanalraster;Polarisation;Sendeleistung;Modulation;"
    "Konfiguration;Antennendurchmesser A;Antennendurchmesser B;Gerätetyp;Länge\n"
    "RF-01;Mühlberg;Schöngrün;17800;28;V;20;256 QAM;1+1;60;60;Typ X;11,6\n"
    "RF-02;Schöngrün;Haus am Ried;23.100;56;H;18,5;128QAM;2+0 XPIC;30;60;Typ X;6,7\n"
    "RF-03;Haus am Ried;Krähenhöhe;17.900,5;28;V;20;256QAM;ungeschützt;120;120;Typ Y;19\n"
    "RF-04;Krähenhöhe;Mühlberg;x;28;V;20;256QAM;1+0;120;120;Typ Y;19\n"
    "RF-05;Krähenhöe;Mühlberg;17,8 GHz;28;V;20;256QAM;1+0;120;120;Typ Y;19\n"
)


def imported(folder: Path, capsys: pytest.CaptureFixture[str], *words: str) -> tuple[Network, str]:
    """The network that an import writes, and what it says."""
    out = folder / "network.toml"
    assert main(["import", *words, "--out", str(out), "--replace"]) == 0
    return read_network(out).network, capsys.readouterr().out


@pytest.fixture
def german(tmp_path: Path) -> list[str]:
    (tmp_path / "s.csv").write_bytes(GERMAN_SITES.encode("cp1252"))
    (tmp_path / "h.csv").write_bytes(GERMAN_HOPS.encode("cp1252"))
    return ["--sites", str(tmp_path / "s.csv"), "--hops", str(tmp_path / "h.csv")]


def test_a_german_export(tmp_path: Path, german: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    network, said = imported(tmp_path, capsys, *german, "--hub", "Mühlberg")
    first = network.site("A1")
    assert (first.name, first.ground_height_m) == ("Mühlberg", 519.0)
    assert (first.latitude_deg, first.longitude_deg) == pytest.approx((48.1371667, 11.5761111), abs=1e-7)
    assert [site.id for site in network.sites] == ["A1", "A2", "A3", "A4"]
    one, two, three = network.hops
    assert (one.id, one.frequency_ghz, one.scheme, one.site_b) == ("RF-01", 17.8, "1+1 HSB", "A2")
    assert (two.frequency_ghz, two.channel_width_mhz, two.polarisation) == (23.1, 56.0, "H")
    assert (three.frequency_ghz, three.scheme) == (17.9005, "1+0")
    assert network.antenna(two.antenna).diameter_m == 0.3
    assert two.antenna_b is not None
    assert network.antenna(two.antenna_b).diameter_m == 0.6
    assert [step.states for step in network.radio(two.radio).modulations] == [128]
    assert not network.radio(two.radio).adaptive
    assert network.radio(two.radio).transmit_power_dbm == 18.5
    assert {service.site_b for service in network.services} == {"A1"}
    assert network.services[0].name == "Schöngrün to Mühlberg"
    assert len(network.services) == 3
    assert "h.csv row 3: length is" not in said
    assert "h.csv row 4: length is 19.00 km in the table, 11.73 km by the coordinates" in said
    assert 's.csv row 8, column "Breite": "acht" is not degrees from -90 to 90' in said
    assert 'h.csv row 5, column "Frequenz [MHz]": "x" is not a number from 1 to 100 GHz' in said
    assert 'column "Standort A": "Krähenhöe" is no site. Did you mean "Krähenhöhe"?' in said
    assert '"1+1" is taken as hot standby, 1+1 HSB: h.csv row 2' in said
    assert "O behind a longitude is east (o_means): s.csv row 4" in said
    assert "cp1252, parted by semicolon, decimal comma" in said


def test_the_mapping_is_used_again_and_may_be_edited(
    tmp_path: Path, german: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    before, _ = imported(tmp_path, capsys, *german)
    again, said = imported(tmp_path, capsys, *german)
    assert again == before
    assert "as it stands" in said
    mapping = tmp_path / "network.mapping.toml"
    text = mapping.read_text(encoding="utf-8")
    edited = text.replace("adaptive = false", "adaptive = true").replace(
        'column = "Gerätetyp"', 'column = "Strecke"'
    )
    mapping.write_text(edited, encoding="utf-8")
    other, _ = imported(tmp_path, capsys, *german)
    assert other.radio("RF-01").adaptive
    assert [step.states for step in other.radio("RF-01").modulations] == [4, 16, 64, 256]
    mapping.write_text(text.replace("Sendeleistung", "Sendelistung"), encoding="utf-8")
    with pytest.raises(InputError, match=r'transmit_power is "Sendelistung".* Did you mean "Sendeleistung"'):
        run_refused(tmp_path, german)
    mapping.write_text(text + "colour = 3\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"network\.mapping\.toml: field is .assumed\.colour."):
        run_refused(tmp_path, german)


GERMAN_SERVICES = (
    "Dienst-Nr;Dienstname;von;nach;Garantierte Bandbreite [Mbit/s];Max. Bandbreite;Priorität;Ersatzweg;"
    "Verfügbarkeit;Bemerkung\n"
    "D1;Leitstelle;Krähenhöhe;Mühlberg;20,5;100;1;ja;99,99 %;\n"
    "D2;Video;Haus am Ried;Mühlberg;50;40;5;nein;99,9;\n"
    "D3;Messnetz;Schöngrün;Mühlberg;viel;;2;;;x\n"
    "D4;Alt;Kaputt;Mühlberg;10;20;9;nein;;\n"
    "D5;Doppelt;Haus am Ried;Schöngün;10;20;3;nein;;\n"
    "D6;Schleife;Mühlberg;Mühlberg;10;20;3;nein;99,5;\n"
)


def test_a_table_of_services(tmp_path: Path, german: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    imported(tmp_path, capsys, *german)
    mapping = tmp_path / "network.mapping.toml"
    mapping.write_text(mapping.read_text(encoding="utf-8") + "# mine\n", encoding="utf-8")
    (tmp_path / "d.csv").write_bytes(GERMAN_SERVICES.encode("cp1252"))
    words = [*german, "--services", str(tmp_path / "d.csv")]
    network, said = imported(tmp_path, capsys, *words, "--hub", "Mühlberg")
    one, two, three, *to_hub = network.services
    assert (one.id, one.name, one.site_a, one.site_b) == ("D1", "Leitstelle", "A4", "A1")
    assert (one.committed_mbit_s, one.peak_mbit_s, one.priority) == (20.5, 100.0, 1)
    assert (one.protection, one.availability_objective) == ("protected", 0.9999)
    assert (two.peak_mbit_s, two.protection, two.availability_objective) == (None, "none", 0.999)
    assert (three.committed_mbit_s, three.protection, three.priority) == (50.0, "rerouted", 2)
    assert len(to_hub) == 3
    assert 'services committed = "Garantierte Bandbreite [Mbit/s]" [Mbit/s] (its name)' in said
    assert '"ja" is taken as protected: d.csv row 2' in said
    assert "committed rate is assumed, 50 Mbit/s: d.csv row 4" in said
    assert "a peak rate below the committed one is left out: d.csv row 3" in said
    assert 'column "Garantierte Bandbreite [Mbit/s]": "viel" is not a number' in said
    assert 'd.csv row 5, column "von": "Kaputt" is no site' in said
    assert 'd.csv row 6, column "nach": "Schöngün" is no site. Did you mean "Schöngrün"?' in said
    assert 'd.csv row 7: service "D6": to is "A1", the same as from; must be another site; left out' in said
    assert "No services yet" not in said
    text = mapping.read_text(encoding="utf-8")
    assert "# mine" in text  # what stood there stands, and what was proposed comes behind it
    assert text.index("[assumed]") < text.index("[services]")
    again, said = imported(tmp_path, capsys, *words, "--hub", "Mühlberg")
    assert again == network
    assert mapping.read_text(encoding="utf-8") == text


def test_services_without_a_second_end_are_refused(tmp_path: Path, german: list[str]) -> None:
    (tmp_path / "d.csv").write_text("Service;Site;Rate\nx;Mühlberg;5\n", encoding="utf-8")
    with pytest.raises(
        InputError, match=r'd\.csv: end B of the services is not found among "Service", "Site"'
    ):
        run_refused(tmp_path, [*german, "--services", str(tmp_path / "d.csv")])


def run_refused(folder: Path, words: list[str]) -> None:
    """An import that is refused, its refusal raised."""
    import argparse

    from hopyears.sim.commands import import_tables

    parser = argparse.ArgumentParser()
    import_tables.add_arguments(parser)
    import_tables.run(parser.parse_args([*words, "--out", str(folder / "network.toml"), "--replace"]))


def test_a_workbook_that_carries_both_ends(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    book = openpyxl.Workbook()
    book.active.append(["made up"])
    sheet = book.create_sheet("Links")
    sheet.append(
        ["Link ID", "Site A Name", "Latitude A", "Longitude A", "Ground elevation A (ft)", "Site B Name",
         "Latitude B", "Longitude B", "TX Freq (GHz)", "Bandwidth (MHz)", "Min Modulation", "Max Modulation",
             "Protection",
         "Gain A (dBi)", "Gain B (dBi)", "Ant Height A (m AGL)", "Ant Height B (m AGL)", "Tx Pwr (dBm)"]
    )  # fmt: skip
    sheet.append(["L1", "Alpha", 45, -11.1, 300, "Beta", 45.05, -11.2, 18.1, 28, "QPSK", "1024QAM",
                      "Hot Standby",
                  38.5, 38.5, 30, 40, 20])  # fmt: skip
    sheet.append(["L2", "Beta", 45.05, -11.2, None, "Gamma", 45.02, -11, 18.1, 28, "QPSK", "1024QAM", "None",
                  38.5, 44, 40, 25, 18])  # fmt: skip
    book.save(tmp_path / "export.xlsx")
    network, said = imported(tmp_path, capsys, "--hops", str(tmp_path / "export.xlsx"))
    assert [site.id for site in network.sites] == ["Alpha", "Beta", "Gamma"]
    assert network.site("Alpha").ground_height_m == pytest.approx(91.44)
    first, second = network.hops
    assert (first.scheme, second.scheme) == ("1+1 HSB", "1+0")
    assert (first.antenna_height_a_m, second.antenna_height_b_m) == (30.0, 25.0)
    assert [step.states for step in network.radio(first.radio).modulations] == [4, 16, 64, 256, 1024]
    assert network.antenna(second.antenna_b or "").gain_dbi == 44.0
    assert (first.transmit_power_dbm, second.transmit_power_dbm) == (None, 18.0)
    assert "export.xlsx, sheet Links: 2 rows of hops" in said


def test_a_row_for_each_direction(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "s.txt").write_bytes(
        "Code site\tNom du site\tLatitude\tLongitude\nF1\tForêt\t45°10'N\t5°30'O\n"
        "F2\tÉtang\t45°12'N\t5°36'O\nF3\tMer\t45°15'N\t5°40'O\n".encode("utf-16")
    )
    (tmp_path / "h.txt").write_text(
        "de\tà\tfréquence (GHz)\tdiamètre antenne\tmodulation\n"
        "F1\tF2\t18,1\t0,6\tMAQ 64\nF2\tF1\t19,1\t1,2\tMAQ 64\n"
        "F2\tF3\t18,1\t0,6\tMAQ 64\nF3\tF2\t19,1\t0,6\tMAQ 64\n",
        encoding="utf-8",
    )
    network, said = imported(
        tmp_path, capsys, "--sites", str(tmp_path / "s.txt"), "--hops", str(tmp_path / "h.txt")
    )
    assert [(hop.id, hop.duplex_spacing_mhz) for hop in network.hops] == [
        ("F1-F2", 1000.0),
        ("F2-F3", 1000.0),
    ]
    assert network.site("F1").longitude_deg == -5.5
    assert network.hops[0].antenna_b == "dish-1.2m"
    assert "two directions of one hop" in said


def test_carriers_of_one_id_and_ends_by_their_cells(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "s.csv").write_text("name,lat,lon\nUp,45,9\nDown,45.1,9\n", encoding="utf-8")
    (tmp_path / "h.csv").write_text(
        "Link ID,lower,higher,Frequency,Pol\nL1,Up,Down,18.1,V\nL1,Up,Down,18.1,H\n", encoding="utf-8"
    )
    network, said = imported(
        tmp_path, capsys, "--sites", str(tmp_path / "s.csv"), "--hops", str(tmp_path / "h.csv")
    )
    assert [(hop.id, hop.scheme) for hop in network.hops] == [("L1", "2+0 XPIC")]
    assert 'hops site_a = "lower" (100 % of its cells are sites)' in said


def test_eastings_and_northings(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The sample point of EPSG Guidance Note 7-2 (transverse Mercator of OSGB 1936): 50 30 N, 0 30 E."""
    (tmp_path / "s.csv").write_text(
        "site,easting,northing\nA,577274.99,69740.50\nB,577274.99,79740.50\n", encoding="utf-8"
    )
    (tmp_path / "h.csv").write_text("site a,site b,freq ghz\nA,B,7.5\n", encoding="utf-8")
    words = ["--sites", str(tmp_path / "s.csv"), "--hops", str(tmp_path / "h.csv")]
    assert main(["import", *words, "--out", str(tmp_path / "network.toml")]) == 2
    assert 'coordinates is ""; must be the system of its eastings' in capsys.readouterr().err
    mapping = tmp_path / "network.mapping.toml"
    mapping.write_text(
        mapping.read_text(encoding="utf-8").replace(
            "[sites_table]", '[sites_table]\ncoordinates = "EPSG:27700"'
        ),
        encoding="utf-8",
    )
    network, _ = imported(tmp_path, capsys, *words)
    # On WGS 84 the point lies within 0.01 degrees of its place on OSGB 1936.
    assert network.site("A").latitude_deg == pytest.approx(50.5, abs=0.01)
    assert network.site("A").longitude_deg == pytest.approx(0.5, abs=0.01)


def test_geojson_of_points_and_lines(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """RFC 7946, 3.1.1: longitude first, then latitude, then height."""
    p, q = [11.0, 45.0, 20.0], [11.1, 45.0]
    features = [
        {"geometry": {"type": "Point", "coordinates": p}, "properties": {"name": "P"}},
        {"geometry": {"type": "Point", "coordinates": q}, "properties": {"name": "Q"}},
        {"geometry": {"type": "LineString", "coordinates": [p, q]}, "id": "x1", "properties": {"GHz": 23}},
    ]
    features = [{"type": "Feature", **feature} for feature in features]
    path = tmp_path / "places.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}), encoding="utf-8")
    network, _ = imported(tmp_path, capsys, "--hops", str(path))
    hop = network.hops[0]
    assert (hop.id, hop.site_a, hop.site_b, hop.frequency_ghz) == ("x1", "P", "Q", 23.0)
    assert (network.site("P").ground_height_m, network.site("P").longitude_deg) == (20.0, 11.0)


def test_signs_that_no_screen_shows_are_left_out(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Cells copied from pages and workbooks hold line breaks and marks of direction; files take neither."""
    (tmp_path / "s.csv").write_text(
        'id,name,\u200elatitude,longitude\na,"Old\nMill",45,9\nb,\u202eTop\u202c,45.05,\u200e9.1\n',
        encoding="utf-8",
    )
    (tmp_path / "h.csv").write_text("id,from,to,Frequency (GHz)\nh1,a,b\u200f,\u200e18\n", encoding="utf-8")
    network, _ = imported(
        tmp_path, capsys, "--sites", str(tmp_path / "s.csv"), "--hops", str(tmp_path / "h.csv")
    )
    assert [(site.name, site.longitude_deg) for site in network.sites] == [("Old Mill", 9.0), ("Top", 9.1)]
    assert [(hop.site_b, hop.frequency_ghz) for hop in network.hops] == [("b", 18.0)]
    feature = {"type": "Feature", "geometry": {"type": "Point", "coordinates": [9.0, 45.0]}}
    points, _ = tables_of_geojson(
        json.dumps({"features": [feature | {"properties": {"id": "a", "name": "Old\tMill\u200e"}}]}), "x"
    )
    assert points[1][0][-1] == "Old Mill"


def test_names_of_columns_taken_apart() -> None:
    found = headers_of(
        [
            "TxPower_dBm",
            "FreqGHz",
            "LatA",
            "LatB",
            "Capacity Mbit/s",
            "Size A (ft)",
            "Size B (ft)",
            "Height A",
        ]
    )
    assert [each[1:] for each in found] == [
        ("tx power", "", "dbm"),
        ("freq", "", "ghz"),
        ("lat", "a", ""),
        ("lat", "b", ""),
        ("capacity", "", "mbps"),
        ("size", "a", "ft"),
        ("size", "b", "ft"),
        ("height", "a", ""),
    ]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "h.csv: table is empty; must be names of columns and rows below them"),
        ("colour,shape\nred,round\n", "h.csv: end A of the hops is not found among"),
        ('{"features": 3}', "h.csv: text is not GeoJSON"),
        ("site a,site b,freq\nX,Y,18\n", "h.csv: hops is empty after reading"),
    ],
)
def test_tables_that_are_none(
    text: str, said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "h.csv").write_text(text, encoding="utf-8")
    assert main(["import", "--hops", str(tmp_path / "h.csv"), "--out", str(tmp_path / "n.toml")]) == 2
    assert said in capsys.readouterr().err
    assert not (tmp_path / "n.toml").exists()


def test_an_existing_network_is_not_written_over(
    tmp_path: Path, german: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "network.toml").write_text("mine", encoding="utf-8")
    assert main(["import", *german, "--out", str(tmp_path / "network.toml")]) == 2
    assert "file is there already" in capsys.readouterr().err
    assert (tmp_path / "network.toml").read_text(encoding="utf-8") == "mine"


HEADS = ["site a", "site b", "lat a", "lon a", "lat b", "lon b", "freq", "mod", "x"]
CELL = st.one_of(
    st.text(max_size=12),
    st.sampled_from(["A", "B", "45.1", "9,2", "18", "256QAM", "1+1", "V", "", "-", "\x1b[31m"]),
)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(st.sampled_from(HEADS), min_size=2, max_size=9),
    st.lists(st.lists(CELL, min_size=2, max_size=9), min_size=1, max_size=5),
    st.sampled_from([",", ";", "\t"]),
)  # fmt: skip
def test_any_table_gives_a_network_or_a_refusal(
    tmp_path: Path, header: list[str], rows: list[list[str]], separator: str
) -> None:
    """Never a traceback; what is written the reader accepts, without signs that steer a screen."""
    text = "\n".join(separator.join(row) for row in [header, *rows])
    (tmp_path / "h.csv").write_bytes(text.encode("utf-8", "replace"))
    out, mapping = tmp_path / "n.toml", tmp_path / "n.mapping.toml"
    mapping.unlink(missing_ok=True)
    out.unlink(missing_ok=True)
    if main(["import", "--hops", str(tmp_path / "h.csv"), "--out", str(out)]) == 0:
        assert read_network(out).network.hops
        assert "\x1b" not in out.read_text(encoding="utf-8")
        assert tomllib.loads(mapping.read_text(encoding="utf-8"))
