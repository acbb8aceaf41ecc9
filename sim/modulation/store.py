"""A study of modulation that keeps its blocks, so that it can be stopped, taken up again and made longer."""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import pyarrow as pa

from hopyears.sim.blocks.prepared import Prepared
from hopyears.sim.inputs.network_file import NetworkSource
from hopyears.sim.modulation.study import modulation_study, studied
from hopyears.sim.runs.simulate import RunRequest, manifest_of, rest_on, warnings_of
from hopyears.sim.storage.run_folder import RunFolder, run_identity

if TYPE_CHECKING:
    import pandas as pd

STUDY = "study.json"
"""Name of the manifest."""


def kept_study(
    source: NetworkSource,
    prepared: Prepared,
    request: RunRequest,
    out: Path | str,
    *,
    hops: Sequence[str] | None = None,
    states: Sequence[int] | None = None,
    resume: bool = False,
    progress: Callable[[int, int], None] = lambda done, of_all: None,
) -> "dict[str, pd.DataFrame]":
    """Tables of ``modulation_study``, which are stored with the blocks in a folder.

    Parameters
    ----------
    source : NetworkSource
    prepared : Prepared
        Of that network, with the options of ``request``.
    request, hops, states, progress
        As for ``modulation_study``.
    out : path
        Folder of the study; new or empty unless ``resume``.
    resume : bool
        Keep the finished blocks of a stopped study of the same identity, or add years to one.

    Raises
    ------
    InputError
        If the folder is in use, or by another study or run: nothing is overwritten.
    """
    chosen, wanted = studied(prepared, hops, states)
    asked = {"hops": [prepared.designs[hop].hop.id for hop in chosen], "states": wanted}
    manifest = manifest_of(source, request, warnings_of(source, prepared.designs))
    identity = run_identity({"run": manifest["identity"], "study": asked})
    manifest |= {"identity": identity, "study": asked}
    folder = RunFolder(out, STUDY)
    with folder.locked():
        folder.begin(manifest, source.network.model_dump(mode="json", by_alias=True), resume=resume)
        tables = modulation_study(
            prepared, request, hops=hops, states=states, folder=folder, progress=progress
        )
        stored = {name: pa.Table.from_pandas(frame, preserve_index=False) for name, frame in tables.items()}
        folder.write_results(stored, rest_on(folder, request))
    return tables
