"""``hopyears geojson``: a network, or a run with its figures, as GeoJSON for any map program."""

import argparse
from pathlib import Path


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """SOURCE and where the file goes."""
    parser.add_argument(
        "source", metavar="SOURCE", help="network file, or folder of a run for its figures too"
    )
    parser.add_argument("--out", metavar="FILE.geojson", required=True, help="file to write")


def run(options: argparse.Namespace) -> int:
    """Write sites, hops and services, with every figure that a run has of them."""
    import json

    from hopyears.models.network.network import Network
    from hopyears.sim.inputs.input_text import write_text
    from hopyears.sim.inputs.network_file import read_network
    from hopyears.sim.runs.results import Results
    from hopyears.sim.wording.geojson_out import collection

    if Path(options.source).is_dir():
        results = Results.load(options.source)
        network = Network.model_validate_json(json.dumps(dict(results.network)))
        found = collection(network, results.tables)
    else:
        found = collection(read_network(options.source).network)
    write_text(Path(options.out), json.dumps(found, ensure_ascii=False, allow_nan=False, indent=1))
    print(f"{options.out}: {len(found['features'])} features")
    return 0
