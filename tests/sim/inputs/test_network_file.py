"""Every way a network file can be wrong gives InputError with one plain sentence for each fault."""

import copy
import datetime
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from network_text import small, toml, write

import hopyears.sim.inputs.input_text
from hopyears.models.network.network import Hop, Site, Switching
from hopyears.sim.inputs.input_errors import InputError
from hopyears.sim.inputs.network_file import NetworkSource, file_schema, read_network, with_network
from hopyears.sim.inputs.plan_file import read_plan

DEMO = Path(__file__).parents[3] / "experiments" / "demo" / "network.toml"


def message(path: Path) -> str:
    with pytest.raises(InputError) as caught:
        read_network(path)
    return str(caught.value)


def changed(place: tuple[str | int, ...], value: Any) -> dict[str, Any]:
    """The small network with another value in one place; ``...`` takes the place away."""
    data: Any = small()
    here = data
    for part in place[:-1]:
        here = here[part]
    if value is ...:
        del here[place[-1]]
    else:
        here[place[-1]] = value
    return data  # type: ignore[no-any-return]


IDENTIFIER = "1 to 40 letters, digits, dots, dashes or underscores, a letter or digit first"

ONE_FAULT = [
    # Wrong types.
    (
        ("hops", 0, "frequency_ghz"),
        "18",
        'hop "hill-mill": frequency_ghz is "18"; must be a number, 1 to 100',
    ),
    (
        ("hops", 0, "frequency_ghz"),
        True,
        'hop "hill-mill": frequency_ghz is true; must be a number, 1 to 100',
    ),
    (
        ("hops", 0, "frequency_ghz"),
        [18],
        'hop "hill-mill": frequency_ghz is a list of 1; must be a number, 1 to 100',
    ),
    (
        ("hops", 0, "frequency_ghz"),
        datetime.date(2020, 1, 31),
        'hop "hill-mill": frequency_ghz is 2020-01-31; must be a number, 1 to 100',
    ),
    (("services", 0, "priority"), 2.0, 'service "s1": priority is 2.0; must be a whole number, 1 to 8'),
    (("services", 0, "route"), "x", 'service "s1": route is "x"; must be a list of at most 1000'),
    (("services", 0, "route"), ["hill-mill", 3], f'service "s1": route[2] is 3; must be text, {IDENTIFIER}'),
    (("radios", 0, "adaptive"), 1, 'radio "r18": adaptive is 1; must be true or false'),
    (("hops", 0, "id"), 7, f"hop 1: id is 7; must be text, {IDENTIFIER}"),
    (("hops",), {"id": "x"}, "hops is a table; must be a list of tables, [[hops]]"),
    (("hops", 0), "x", 'hop 1 is "x"; must be a table'),
    (("climate",), [1], "climate is a list of 1; must be a table, [climate]"),
    (("losses",), 3, "losses is 3; must be a table, [losses]"),
    (("title",), 5, "title is 5; must be text, at most 200 characters"),
    # Values out of range, with the range.
    (("hops", 0, "frequency_ghz"), 230, 'hop "hill-mill": frequency_ghz is 230; must be 1 to 100'),
    (("hops", 0, "frequency_ghz"), 0, 'hop "hill-mill": frequency_ghz is 0; must be 1 to 100'),
    (
        ("hops", 0, "frequency_ghz"),
        float("nan"),
        'hop "hill-mill": frequency_ghz is nan; must be finite, 1 to 100',
    ),
    (
        ("hops", 0, "frequency_ghz"),
        float("-inf"),
        'hop "hill-mill": frequency_ghz is -inf; must be finite, 1 to 100',
    ),
    (
        ("hops", 0, "channel_width_mhz"),
        0,
        'hop "hill-mill": channel_width_mhz is 0; must be above 0, at most 4000',
    ),
    (("sites", 0, "latitude_deg"), 95, 'site "hill": latitude_deg is 95; must be -80 to 80'),
    (
        ("radios", 0, "modulations", 1, "states"),
        1,
        'radio "r18": modulations[2].states is 1; must be 2 to 16384',
    ),
    (("crews", 0, "shift_start_h"), 24, 'crew "crew": shift_start_h is 24; must be at least 0, below 24'),
    (
        ("climate", "monthly_temperature_c"),
        [1.0],
        "climate: monthly_temperature_c is a list of 1; must be a list of 12",
    ),
    (
        ("depots", 0, "stock"),
        {"outdoor_radio": -1},
        'depot "store": stock.outdoor_radio is -1; must be 0 to 100000',
    ),
    (("hops", 0, "id"), "a b", f'hop "a b": id is "a b"; must be {IDENTIFIER}'),
    (("title",), "x" * 300, f'title is "{"x" * 57}..."; must be at most 200 characters'),
    # Fields that lack, or that nobody knows.
    (
        ("hops", 0, "frequency_ghz"),
        ...,
        'hop "hill-mill": frequency_ghz is missing; must be a number, 1 to 100',
    ),
    (("hops", 0, "id"), ..., f"hop 1: id is missing; must be text, {IDENTIFIER}"),
    (
        ("radios", 0, "modulations", 1, "sates"),
        4,
        'radio "r18": field is "modulations[2].sates"; must be one of states, required_snr_db, '
        "threshold_dbm, capacity_mbit_s, signature_width_mhz, signature_depth_db and 1 more. "
        'Did you mean "states"?',
    ),
    (
        ("switching", "revert"),
        True,
        f'switching: field is "revert"; must be one of {", ".join([*Switching.model_fields][:6])} and '
        f"{len(Switching.model_fields) - 6} more. "
        'Did you mean "reverts"?',
    ),
    (("hops", 0, "site_a"), "hill", 'hop "hill-mill": field is "site_a"; must be "from"'),
    # Empty and missing lists.
    (("hops",), [], "hops is a list of 0; must be a list of 1 to 20000 tables, [[hops]]"),
    (("sites",), ..., "sites is missing; must be a list of 2 to 20000 tables, [[sites]]"),
    (("radios",), [], "radios is a list of 0; must be a list of 1 to 2000 tables, [[radios]]"),
    # Choices.
    (("hops", 0, "polarisation"), "X", 'hop "hill-mill": polarisation is "X"; must be one of "H", "V"'),
    (
        ("radios", 0, "mounting"),
        "direkt",
        'radio "r18": mounting is "direkt"; must be one of "direct", "waveguide". Did you mean "direct"?',
    ),
    (
        ("hops", 0, "scheme"),
        "1+1",
        'hop "hill-mill": scheme is "1+1"; must be consistent (1+1 needs one of HSB, FD, SD, SD+FD, XPIC)',
    ),
    # Fields of one entry that contradict each other.
    (
        ("radios", 0, "modulations", 1, "states"),
        4,
        'radio "r18": modulations is [4, 4]; must be one step or more, states strictly rising',
    ),
    (
        ("antennas", 0, "gain_dbi"),
        30,
        'antenna "dish": gain_dbi is given beside diameter_m; must be given alone, or left out',
    ),
    (
        ("antennas", 0, "diameter_m"),
        ...,
        'antenna "dish": diameter_m is missing; must be given, or gain_dbi instead',
    ),
    (
        ("services", 0, "peak_mbit_s"),
        3,
        'service "s1": peak_mbit_s is 3; must be at least committed_mbit_s, 50',
    ),
    # Objectives of a service; shares of time are ratios, not per cent.
    (
        ("services", 0, "availability_objective"),
        99.99,
        'service "s1": availability_objective is 99.99; must be above 0, below 1',
    ),
    (
        ("services", 0, "severely_errored_ratio_objective"),
        0,
        'service "s1": severely_errored_ratio_objective is 0; must be above 0, below 1',
    ),
    (
        ("services", 0, "outages_per_year_objective"),
        -1,
        'service "s1": outages_per_year_objective is -1; must be above 0, at most 100000',
    ),
    # Names of other entries.
    (("hops", 0, "to"), "mil", 'hop "hill-mill": to is "mil"; must be a site id. Did you mean "mill"?'),
    (("hops", 0, "to"), "zzz", 'hop "hill-mill": to is "zzz"; must be a site id'),
]


@pytest.mark.parametrize(("place", "value", "sentence"), ONE_FAULT)
def test_one_fault_is_one_sentence(
    tmp_path: Path, place: tuple[str | int, ...], value: Any, sentence: str
) -> None:
    assert message(write(tmp_path, changed(place, value))) == f"network.toml: {sentence}"


def test_shift_that_ends_before_it_starts(tmp_path: Path) -> None:
    data = small()
    data["crews"][0] |= {"shift_start_h": 22, "shift_end_h": 6}
    sentence = 'network.toml: crew "crew": shift_end_h is 6; must be above shift_start_h, 22'
    assert message(write(tmp_path, data)) == sentence


def test_unknown_field_lists_the_known_ones_and_the_nearest(tmp_path: Path) -> None:
    text = message(write(tmp_path, changed(("hops", 0, "freqency_ghz"), 18)))
    assert text.startswith(
        'network.toml: hop "hill-mill": field is "freqency_ghz"; must be one of id, name, from, to, '
    )
    assert text.endswith('. Did you mean "frequency_ghz"?')


def test_unknown_key_of_the_file(tmp_path: Path) -> None:
    text = message(write(tmp_path, small() | {"hop": []}))
    assert text.startswith('network.toml: key is "hop"; must be one of title, sites, hops, ')
    assert text.endswith('. Did you mean "hops"?')


def test_small_and_demo_are_in_order(tmp_path: Path) -> None:
    source = read_network(write(tmp_path, small()))
    assert source.warnings == ()
    assert source.network.hop("hill-mill").site_b == "mill"
    demo = read_network(DEMO)
    assert len(demo.network.hops) >= 20
    assert len(demo.network.services) == 14


def test_faults_of_all_kinds_are_told_together(tmp_path: Path) -> None:
    data = changed(("hops", 0, "frequency_ghz"), 230)
    data["sites"][0]["power"] = "weka"
    data["hops"][1]["radio"] = "r19"
    data["crews"][0]["base"] = "hil"
    data["climate"] = {"rain_rate_001_mm_h": -3}
    assert message(write(tmp_path, data)).splitlines() == [
        'network.toml: hop "hill-mill": frequency_ghz is 230; must be 1 to 100',
        "network.toml: climate: rain_rate_001_mm_h is -3; must be 1 to 300",
        'network.toml: crew "crew": base is "hil"; must be a site id. Did you mean "hill"?',
        'network.toml: hop "mill-ridge": radio is "r19"; must be a radio id. Did you mean "r18"?',
        'network.toml: site "hill": power is "weka"; must be a power id or "standard". Did you mean "weak"?',
    ]


def test_a_faulty_site_does_not_make_its_hops_faulty(tmp_path: Path) -> None:
    text = message(write(tmp_path, changed(("sites", 0, "latitude_deg"), 95)))
    assert text == 'network.toml: site "hill": latitude_deg is 95; must be -80 to 80'


def test_more_than_twenty_faults_are_counted(tmp_path: Path) -> None:
    data = small()
    data["sites"] += [{"id": f"x{i}", "latitude_deg": 95, "longitude_deg": 0} for i in range(33)]
    lines = message(write(tmp_path, data)).splitlines()
    alike = '(alike in 32 more: "x1", "x2", "x3", ...)'
    assert lines == [f'network.toml: site "x0": latitude_deg is 95; must be -80 to 80 {alike}']
    data = small()
    data["hops"][0] |= {field: [1] for field in Hop.model_fields if field not in ("id", "site_a", "site_b")}
    lines = message(write(tmp_path, data)).splitlines()
    assert len(lines) == 21
    assert lines[20] == f"... and {len(Hop.model_fields) - 3 - 20} more"
    assert max(map(len, lines)) < 250


def test_message_is_printable_whatever_the_file_holds(tmp_path: Path) -> None:
    text = message(write(tmp_path, changed(("hops", 0, "id"), "a\nb\x1b[31m")))
    assert text == rf'network.toml: hop "a\nb\x1b[31m": id is "a\nb\x1b[31m"; must be {IDENTIFIER}'


# Files that are no network file at all.


def test_missing_file(tmp_path: Path) -> None:
    path = tmp_path / "none.toml"
    assert (
        message(path) == f"{path}: file is not readable (No such file or directory); must be a readable file"
    )


def test_folder(tmp_path: Path) -> None:
    assert message(tmp_path) == f"{tmp_path}: file is a folder; must be a file"


def test_file_that_cannot_be_opened(tmp_path: Path) -> None:
    path = tmp_path / "network.toml"
    path.symlink_to(path)
    said = message(path)
    assert (
        said == f"{path}: file is not readable (Too many levels of symbolic links); must be a readable file"
    )


def test_name_no_file_can_have() -> None:
    assert message(Path("a\0b")).endswith(
        "file is not readable (embedded null byte); must be a readable file"
    )


def test_binary_file(tmp_path: Path) -> None:
    path = tmp_path / "network.toml"
    path.write_bytes(b"title = '" + bytes(range(128, 256)))
    assert message(path) == "network.toml: byte 9 is not UTF-8; must be UTF-8 text"
    path.write_bytes(bytes(100))
    assert message(path).startswith("network.toml: text is not TOML (")


def test_huge_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write(tmp_path, small())
    monkeypatch.setattr(hopyears.sim.inputs.input_text, "LARGEST_FILE_BYTES", path.stat().st_size)
    read_network(path)
    monkeypatch.setattr(hopyears.sim.inputs.input_text, "LARGEST_FILE_BYTES", 1024)
    assert message(path) == "network.toml: size is more than allowed; must be at most 0.000976562 MiB"


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="no endless file on this system")
def test_endless_file(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(hopyears.sim.inputs.input_text, "LARGEST_FILE_BYTES", 1 << 20)
    assert message(Path("/dev/zero")) == "zero: size is more than allowed; must be at most 1 MiB"


@pytest.mark.parametrize(
    "text",
    ["title = ", "[[hops]\n", "a = 1\na = 2", "title = 'x", "= 3", "x = 99-99-99", f"x = {'9' * 5000}"],
)
def test_text_that_is_not_toml(tmp_path: Path, text: str) -> None:
    path = tmp_path / "network.toml"
    path.write_text(text)
    said = message(path)
    assert said.startswith("network.toml: text is not TOML (")
    assert said.endswith("); must be a TOML file")


@pytest.mark.parametrize(
    "text",
    [
        "a = " + "[" * 20_000 + "]" * 20_000,
        "a = " + "[" * 300 + "]" * 300,
        ".".join(["a"] * 5000) + " = 1",
        "[" + ".".join(["a"] * 5000) + "]",
    ],
)
def test_deep_nesting(tmp_path: Path, text: str) -> None:
    path = tmp_path / "network.toml"
    path.write_text(text)
    sentence = "network.toml: nesting is too deep; must be at most 8 tables and lists in each other"
    assert message(path) == sentence


def test_whole_number_of_thousands_of_digits(tmp_path: Path) -> None:
    path = tmp_path / "network.toml"
    text = toml(small()).replace('"frequency_ghz" = 18.0', f'"frequency_ghz" = 0x{"f" * 9000}', 1)
    path.write_text(text)
    assert message(path) == (
        'network.toml: hop "hill-mill": frequency_ghz is a number of 36000 bits; must be a number, 1 to 100'
    )


# CSV tables.

SITES = "id,latitude_deg,longitude_deg\nhill,50.0,10.0\nmill,50.1,10.0\nridge,50.1,10.2\ndale,50.3,10.2\n"
HOPS = (
    "id,from,to,frequency_ghz,radio,antenna,scheme\n"
    "hill-mill,hill,mill,18,r18,dish,1+1 HSB\n"
    "mill-ridge,mill,ridge,18,r18,dish,\n"
    "ridge-dale,ridge,dale,18,r18,dish,1+0\n"
)
SERVICES = "id,from,to,committed_mbit_s,priority,route\ns1,hill,ridge,50,2,hill-mill; mill-ridge\n"


def tables(folder: Path, sites: str = SITES, hops: str = HOPS, services: str = SERVICES) -> Path:
    data = small()
    for key, text in (("site", sites), ("hop", hops), ("service", services)):
        del data[f"{key}s"]
        data[f"{key}_table"] = f"{key}s.csv"
        (folder / f"{key}s.csv").write_text(text)
    return write(folder, data)


def test_tables_give_the_same_network_as_toml(tmp_path: Path) -> None:
    source = read_network(tables(tmp_path))
    assert source.network.services[0].route == ("hill-mill", "mill-ridge")
    plain = small()
    plain["services"][0] |= {"priority": 2, "route": ["hill-mill", "mill-ridge"]}
    assert source.network == read_network(write(tmp_path, plain, "plain.toml")).network
    assert source.digest() == read_network(tmp_path / "plain.toml").digest()
    assert not {"site_table", "hop_table", "service_table"} & source.raw.keys()


def test_cells_of_every_type(tmp_path: Path) -> None:
    sites = (
        "\ufeffid , latitude_deg,longitude_deg,indoor_unit,indoor_units\r\n"
        '"hill",50.0,1e1,big,2\r\n\r\n mill ,50.1,10,,\r\nridge,50.1,10.2,,\r\ndale,50.3,10.2,,\r\n'
    )
    hops = HOPS.replace("scheme\n", "scheme,rain_exceedance_db\n").replace("HSB\n", "HSB,0.1=9.5; 0.01=30\n")
    hops = hops.replace("dish,\n", "dish,,\n").replace("1+0\n", "1+0,\n")
    path = tables(tmp_path, sites, hops)
    path.write_text(path.read_text(encoding="utf-8") + '[[indoor_units]]\nid = "big"\nfans = 2\n', "utf-8")
    network = read_network(path).network
    assert network.site("hill").indoor_unit == "big"
    assert network.site("mill").indoor_unit == "standard"
    assert network.site("hill").indoor_units == 2
    assert network.site("mill").indoor_units == 0
    assert network.hop("hill-mill").rain_exceedance_db == {"0.1": 9.5, "0.01": 30.0}
    assert network.hop("mill-ridge").rain_exceedance_db is None


TABLE_FAULTS = [
    (
        {"hops": HOPS.replace("hill,mill,18", "hill,mil,18")},
        'hops.csv: hop "hill-mill": to is "mil"; must be a site id. Did you mean "mill"?',
    ),
    (
        {"hops": HOPS.replace("hill,mill,18", "hill,mill,230")},
        'hops.csv: hop "hill-mill": frequency_ghz is 230.0; must be 1 to 100',
    ),
    (
        {"hops": HOPS.replace("hill,mill,18", "hill,mill,nan")},
        'hops.csv: hop "hill-mill": frequency_ghz is nan; must be finite, 1 to 100',
    ),
    (
        {"hops": HOPS.replace("hill,mill,18", "hill,mill,18 GHz")},
        'hops.csv: hop "hill-mill": frequency_ghz is "18 GHz"; must be a number, 1 to 100',
    ),
    (
        {"hops": HOPS.replace("hill,mill,18", 'hill,mill,"18,5"')},
        'hops.csv: hop "hill-mill": frequency_ghz is "18,5"; must be a number, 1 to 100',
    ),
    (
        {"hops": HOPS.replace("hill,mill,18", "hill,mill,1_8")},
        'hops.csv: hop "hill-mill": frequency_ghz is "1_8"; must be a number, 1 to 100',
    ),
    (
        {"hops": HOPS.replace("hill-mill,", ",")},
        f"hops.csv: line 2: id is missing; must be text, {IDENTIFIER}",
    ),
    (
        {"services": SERVICES.replace(",2,", ",2.5,")},
        'services.csv: service "s1": priority is "2.5"; must be a whole number, 1 to 8',
    ),
    (
        {"services": SERVICES.replace("hill-mill;", "hill-mil;")},
        'services.csv: service "s1": route[1] is "hill-mil"; must be a hop id. Did you mean "hill-mill"?',
    ),
    ({"sites": SITES + "hill,50,11\n"}, 'sites.csv: site "hill": id is used 2 times; must be unique'),
    (
        {"sites": SITES.replace("id,", "Id,", 1)},
        f'sites.csv: column is "Id"; must be one of {", ".join([*Site.model_fields][:6])} and '
        f"{len(Site.model_fields) - 6} more. "
        'Did you mean "id"?',
    ),
    (
        {"sites": SITES.replace("longitude_deg", "latitude_deg", 1)},
        'sites.csv: column is "latitude_deg" again, as number 3; must be named once',
    ),
    (
        {"sites": SITES.replace("mill,50.1,10.0", "mill,50.1")},
        "sites.csv: line 3: number of cells is 2; must be 3, as in the first row",
    ),
    (
        {"sites": SITES.replace("mill,50.1,10.0", "mill,50.1,10.0,7")},
        "sites.csv: line 3: number of cells is 4; must be 3, as in the first row",
    ),
    (
        {"sites": SITES.replace("mill,", '"mill,')},
        "sites.csv: text is not CSV (line 5: unexpected end of data); must be comma-separated cells, "
        "names in the first row",
    ),
    ({"sites": SITES[:30]}, "sites is a list of 0; must be a list of 2 to 20000 tables, [[sites]]"),
]


@pytest.mark.parametrize(("texts", "sentence"), TABLE_FAULTS)
def test_faults_in_tables(tmp_path: Path, texts: dict[str, str], sentence: str) -> None:
    lines = message(tables(tmp_path, **texts)).splitlines()
    assert lines == [sentence if ".csv" in sentence else f"network.toml: {sentence}"]


def test_several_ragged_rows_are_all_told(tmp_path: Path) -> None:
    text = SITES.replace("mill,50.1,10.0", "mill").replace("dale,50.3,10.2", "dale,50.3,10.2,,")
    assert message(tables(tmp_path, sites=text)).splitlines() == [
        "sites.csv: line 3: number of cells is 1; must be 3, as in the first row",
        "sites.csv: line 5: number of cells is 5; must be 3, as in the first row",
    ]


def test_empty_table(tmp_path: Path) -> None:
    text = message(tables(tmp_path, sites="\n"))
    assert text.startswith(
        "sites.csv: first row is missing; must be names of columns, of id, name, latitude_deg, "
    )


def test_a_table_of_another_kind_is_named_as_such(tmp_path: Path) -> None:
    reads = "hopyears import reads such tables"
    said = message(tables(tmp_path, sites=SITES.replace(",", ";")))
    assert said == f"sites.csv: cells are parted by semicolons; must be by commas. {reads}"
    path = tables(tmp_path)
    (tmp_path / "sites.csv").write_bytes(SITES.replace("mill", "mühle").encode("latin-1"))
    assert message(path).endswith(
        "must be UTF-8 text. It looks like Latin-1: save it as UTF-8 (hopyears import reads both)"
    )
    foreign = "Site A,Site B,Freq,Modulation,Config,Remark\na,b,18,256QAM,1+1,-\n"
    said = message(tables(tmp_path, hops=foreign))
    assert said.startswith(
        'hops.csv: 6 columns are none of a network file ("Site A", "Site B", "Freq", ...); '
    )
    assert said.endswith(reads)
    assert len(said) < 250


def test_a_field_of_another_entry_is_pointed_to(tmp_path: Path) -> None:
    said = message(write(tmp_path, changed(("hops", 0, "Modulation"), "256QAM")))
    assert said.endswith('"modulations" is a field of [[radios]]')
    said = message(write(tmp_path, changed(("hops", 0, "polarization"), "V")))
    assert said.endswith('Did you mean "polarisation"?')


def test_missing_table_and_table_that_is_no_name(tmp_path: Path) -> None:
    path = tables(tmp_path)
    (tmp_path / "sites.csv").unlink()
    missing = tmp_path / "sites.csv"
    sentence = f"{missing}: file is not readable (No such file or directory); must be a readable file"
    assert message(path) == sentence
    data = small() | {"site_table": 3, "hop_table": ""}
    said = message(write(tmp_path, data)).splitlines()
    assert said[0] == "network.toml: site_table is 3; must be the name of a CSV file beside it"
    assert said[1] == f"{tmp_path}: file is a folder; must be a file"


def test_binary_and_huge_table(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tables(tmp_path)
    (tmp_path / "hops.csv").write_bytes(HOPS.encode("utf-16"))
    assert message(path) == (
        "hops.csv: byte 0 is not UTF-8; must be UTF-8 text. It looks like UTF-16: save it as UTF-8"
    )
    (tmp_path / "hops.csv").write_text(HOPS + "#" * 9000)
    monkeypatch.setattr(hopyears.sim.inputs.input_text, "LARGEST_FILE_BYTES", 9000)
    assert message(path).startswith("hops.csv: size is more than allowed; must be at most 0.00858")
    monkeypatch.undo()
    (tmp_path / "hops.csv").write_text(HOPS + "#" * (1 << 21))
    assert message(path).startswith("hops.csv: text is not CSV (line 5: field larger than field limit")


# Plans.


def plan_message(folder: Path, base: NetworkSource, plan: dict[str, Any]) -> str:
    with pytest.raises(InputError) as caught:
        read_plan(write(folder, plan, "plan.toml"), base)
    return str(caught.value)


@pytest.mark.parametrize("make", [tables, lambda folder: write(folder, small())])
def test_plan_changes_and_adds(tmp_path: Path, make: Callable[[Path], Path]) -> None:
    base = read_network(make(tmp_path))
    added = {"id": "hill-ridge", "from": "hill", "to": "ridge", "frequency_ghz": 15}
    plan = {
        "hops": [{"id": "mill-ridge", "scheme": "1+1 HSB"}, added | {"radio": "r18", "antenna": "dish"}],
        "switching": {"reverts": True},
        "parts": [{"kind": "modem_card", "swap_h": 3}],
    }
    before = copy.deepcopy(base)
    source = read_plan(write(tmp_path, plan, "plan.toml"), base)
    assert base == before
    assert source.name == "plan.toml"
    assert source.network.hop("mill-ridge") == base.network.hop("mill-ridge").model_copy(
        update={"scheme": "1+1 HSB"}
    )
    assert [hop.id for hop in source.network.hops][-1] == "hill-ridge"
    assert source.network.switching.changeover_s == 0.2
    assert source.network.switching.reverts
    assert source.network.parts[0].mtbf_h == 300_000
    assert source.network.parts[0].swap_h == 3
    assert source.digest() != base.digest()
    empty = read_plan(write(tmp_path, {"title": "as it is"}, "same.toml"), base)
    assert empty.digest() == base.digest()


def test_plan_states_objectives(tmp_path: Path) -> None:
    base = read_network(write(tmp_path, small()))
    plan = {"services": [{"id": "s1", "availability_objective": 0.9999, "outages_per_year_objective": 2}]}
    before, after = (
        base.network.services[0],
        read_plan(write(tmp_path, plan, "p.toml"), base).network.services[0],
    )
    assert (before.availability_objective, before.outages_per_year_objective) == (None, None)
    assert (after.availability_objective, after.outages_per_year_objective) == (0.9999, 2.0)
    assert after.severely_errored_ratio_objective is None
    assert after.grade == before.grade


def test_plan_of_a_network_changed_in_python(tmp_path: Path) -> None:
    base = read_network(write(tmp_path, small()))
    network = base.network.model_copy(update={"hops": base.network.hops[:2]})
    source = read_plan(
        write(tmp_path, {"losses": {"transducer_db": 1}}, "p.toml"), with_network(base, network)
    )
    assert len(source.network.hops) == 2
    assert source.network.losses.transducer_db == 1


PLAN_FAULTS: list[tuple[dict[str, Any], list[str]]] = [
    ({"hop_table": "h.csv"}, ["plan.toml: hop_table is given in a plan; must be given in the network file"]),
    (
        {"hops": [{"id": "mill-ridge", "frequency_ghz": 200}]},
        ['plan.toml: hop "mill-ridge": frequency_ghz is 200; must be 1 to 100'],
    ),
    (
        {"hops": [{"id": "mill-ridge", "to": "rigde"}]},
        ['plan.toml: hop "mill-ridge": to is "rigde"; must be a site id. Did you mean "ridge"?'],
    ),
    (
        {"hops": [{"id": "mill-ridge", "scheme": "2+0"}, {"id": "mill-ridge", "scheme": "1+0"}]},
        ['plan.toml: hop "mill-ridge": id is used again; must be given once in a plan'],
    ),
    ({"hops": ["mill-ridge"]}, ['plan.toml: hop 1 is "mill-ridge"; must be a table']),
    ({"hops": {"id": "mill-ridge"}}, ["plan.toml: hops is a table; must be a list of tables, [[hops]]"]),
    ({"switching": []}, ["plan.toml: switching is a list of 0; must be a table, [switching]"]),
    (
        {"switching": {"changeover_s": "fast"}},
        ['plan.toml: switching: changeover_s is "fast"; must be a number, 0 to 600'],
    ),
    (
        {"sites": [{"id": "mill", "latitude_deg": 53.0}]},
        [
            'plan.toml: hop "hill-mill": path length is 333.773 km; must be 0.02 to 200 km. '
            "Check both sites' coordinates",
            'plan.toml: hop "mill-ridge": path length is 322.948 km; must be 0.02 to 200 km. '
            "Check both sites' coordinates",
        ],
    ),
    (
        {"crews": [{"id": "crw", "teams": 2}]},
        [f'plan.toml: crew "crw": base is missing; must be text, {IDENTIFIER}. Did you mean "crew"?'],
    ),
]


@pytest.mark.parametrize("make", [tables, lambda folder: write(folder, small())])
@pytest.mark.parametrize(("plan", "sentences"), PLAN_FAULTS)
def test_faults_in_plans(
    tmp_path: Path, make: Callable[[Path], Path], plan: dict[str, Any], sentences: list[str]
) -> None:
    assert plan_message(tmp_path, read_network(make(tmp_path)), plan).splitlines() == sentences


# The published schema, and random damage.


def test_schema_takes_what_the_reader_takes(tmp_path: Path) -> None:
    schema = file_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    validator.validate(tomllib.loads(DEMO.read_text()))
    validator.validate(tomllib.loads(toml(small())))
    validator.validate(tomllib.loads(tables(tmp_path).read_text()))


SEEN_BY_SCHEMA = [
    ("hops", 0, "frequency_ghz"),
    ("sites", 0, "latitude_deg"),
    ("hops", 0, "polarisation"),
    ("radios", 0, "mounting"),
    ("switching", "revert"),
    ("losses",),
    ("hops", 0, "site_a"),
    ("services", 0, "availability_objective"),
    ("services", 0, "outages_per_year_objective"),
]


@pytest.mark.parametrize("place", SEEN_BY_SCHEMA)
def test_schema_refuses_what_the_reader_refuses(place: tuple[str | int, ...]) -> None:
    validator = jsonschema.Draft202012Validator(file_schema())
    values = [value for at, value, _ in ONE_FAULT if at == place and value is not ... and value == value]
    assert values
    for value in values:
        assert not validator.is_valid(changed(place, value)), value


PLACES_TAKEN = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(max_size=20)
    | st.dates()
    | st.sampled_from(["hub", "mill", "hub-mill", "1+1 HSB", "2+0 XPIC", "H", "standard", "outdoor_radio"])
    | st.sampled_from([0, 1, 4, 18, 1e-3, 1e9, 10**30, -0.0]),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.sampled_from(["id", "states", "x", "0.01", "from"]), inner, max_size=3)
    ),
    max_leaves=5,
)
DEMO_DATA = tomllib.loads(DEMO.read_text())


def _places(value: Any, place: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
    below = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return [place] * bool(place) + [found for key, item in below for found in _places(item, (*place, key))]


def _damage(data: Any, place: tuple[str | int, ...], value: Any) -> None:
    """Put another value in a place (None takes it away), if the place is still there."""
    for part in place[:-1]:
        data = data[part]
    if value is None:
        del data[place[-1]]
    else:
        data[place[-1]] = value


@settings(max_examples=250)
@given(data=st.data())
def test_damaged_demo_is_read_or_refused_in_plain_sentences(
    data: st.DataObject, tmp_path_factory: pytest.TempPathFactory
) -> None:
    network = copy.deepcopy(DEMO_DATA)
    places = _places(DEMO_DATA)
    for place in data.draw(st.lists(st.sampled_from(places), min_size=1, max_size=4), label="places"):
        value = data.draw(PLACES_TAKEN, label="value")
        try:
            _damage(network, place, value)
        except (KeyError, IndexError, TypeError):
            continue  # an earlier change took the place away
    _read_or_refuse(write(tmp_path_factory.getbasetemp(), _without_none(network), "damaged.toml"))


def _without_none(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _without_none(item) for key, item in value.items() if item is not None}
    return [_without_none(item) for item in value if item is not None] if isinstance(value, list) else value


@settings(max_examples=250)
@given(
    cut=st.lists(st.tuples(st.integers(0, 400), st.integers(0, 12), st.binary(max_size=6)), max_size=4),
    table=st.booleans(),
)
def test_damaged_bytes_are_read_or_refused_in_plain_sentences(
    cut: list[tuple[int, int, bytes]], table: bool, tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.getbasetemp()
    path = tables(folder)
    target = folder / "hops.csv" if table else path
    content = target.read_bytes()
    for start, length, put in cut:
        content = content[:start] + put + content[start + length :]
    target.write_bytes(content)
    _read_or_refuse(path)


def _read_or_refuse(path: Path) -> None:
    try:
        source = read_network(path)
    except InputError as error:
        for line in str(error).splitlines():
            assert line.isprintable()
            assert ((" is " in line or " are " in line) and "; must be " in line) or line.startswith(
                "... and "
            ), line
    else:
        assert source.network.hops
