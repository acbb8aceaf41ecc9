"""Every reader of files, fed with inputs spoilt at random: an answer or an InputError, never another error.

HOPYEARS_INPUTS says how many inputs each reader gets in the slow test; ``experiments/verification/faults``
asks for thousands.
"""

import os

import pytest
from hypothesis import HealthCheck, given, settings
from network_text import small, toml, write
from spoilt_inputs import spoilt_bytes, spoilt_data

from hopyears.sim.inputs.input_errors import InputError
from hopyears.sim.inputs.network_file import NetworkSource, read_network
from hopyears.sim.inputs.plan_file import read_plan

MANY = int(os.environ.get("HOPYEARS_INPUTS", "100"))
SITES = [{**site, "ground_height_m": 20.0 + i} for i, site in enumerate(small()["sites"])]
PLAN = {
    "title": "more",
    "switching": {"reverts": True},
    "hops": [{"id": "mill-ridge", "scheme": "1+1 SD", "frequency_ghz": 23.0}],
    "sites": [{"id": "top", "latitude_deg": 50.2, "longitude_deg": 10.1}],
}


def with_table():
    data = small()
    del data["sites"]
    return {"site_table": "sites.csv", **data}


def csv_of(rows):
    names = list(dict.fromkeys(name for row in rows for name in row))
    lines = [names, *([str(row.get(name, "")) for name in names] for row in rows)]
    return "\n".join(",".join(line) for line in lines).encode("utf-8", "replace")


def answered(read, *words):
    """What a reader makes of an input: a network, or sentences that a user can read."""
    try:
        source = read(*words)
    except InputError as error:
        text = str(error)
        assert text
        assert all(line.isprintable() for line in text.splitlines()), ascii(text)
        return False
    assert isinstance(source, NetworkSource)
    assert len(source.digest()) > 8
    return True


def fed(examples):
    """Settings of a property test with so many inputs."""
    off = [HealthCheck.function_scoped_fixture, HealthCheck.too_slow, HealthCheck.data_too_large]
    return settings(max_examples=examples, suppress_health_check=off)


def network_of_data(folder, data):
    answered(read_network, write(folder, data))


def network_of_bytes(folder, data):
    (folder / "network.toml").write_bytes(data)
    answered(read_network, folder / "network.toml")


def table_of_rows(folder, rows):
    usable = isinstance(rows, list) and all(isinstance(row, dict) for row in rows)
    table_of_bytes(folder, csv_of(rows) if usable else repr(rows).encode("utf-8", "replace"))


def table_of_bytes(folder, data):
    (folder / "sites.csv").write_bytes(data)
    answered(read_network, write(folder, with_table()))


def plan_of_data(folder, data):
    base = read_network(write(folder, small()))
    answered(read_plan, write(folder, data, "plan.toml"), base)


READERS = {
    "network": (network_of_data, spoilt_data(small())),
    "text of a network": (network_of_bytes, spoilt_bytes(toml(small()).encode())),
    "table": (table_of_rows, spoilt_data(SITES)),
    "text of a table": (table_of_bytes, spoilt_bytes(csv_of(SITES))),
    "plan": (plan_of_data, spoilt_data(PLAN)),
}


def feed(reader, folder, examples):
    read, inputs = READERS[reader]

    @fed(examples)
    @given(inputs)
    def check(found):
        read(folder, found)

    check()


@pytest.mark.parametrize("reader", READERS)
def test_a_few_spoilt_inputs(reader, tmp_path):
    feed(reader, tmp_path, 5)


@pytest.mark.slow
@pytest.mark.parametrize("reader", READERS)
def test_many_spoilt_inputs(reader, tmp_path):
    feed(reader, tmp_path, MANY)


def test_what_is_whole_is_read(tmp_path):
    """Else all of the above could be refused for one reason that says nothing."""
    (tmp_path / "sites.csv").write_bytes(csv_of(SITES))
    assert answered(read_network, write(tmp_path, with_table()))
    base = read_network(write(tmp_path, small()))
    assert answered(read_plan, write(tmp_path, PLAN, "plan.toml"), base)
