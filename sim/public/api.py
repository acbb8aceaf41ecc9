"""What ``import hopyears`` offers: read, simulate, predict, compare, explain, and results as frames."""

from hopyears.choices import advise, compare, levers, modulation, promise
from hopyears.runs import (
    Prediction,
    Results,
    columns,
    explain,
    open_run,
    predict,
    simulate,
    worst_outages,
    write_page,
)
from hopyears.sim.advice.advise import Advice
from hopyears.sim.blocks.prepared import ModelOptions
from hopyears.sim.inputs.input_errors import InputError
from hopyears.sim.inputs.network_file import read_network
from hopyears.sim.inputs.plan_file import read_plan
from hopyears.sim.runs.promise_terms import PromiseTerms
from hopyears.sim.studies.plan_tables import Comparison

__all__ = [
    "Advice",
    "Comparison",
    "InputError",
    "ModelOptions",
    "Prediction",
    "PromiseTerms",
    "Results",
    "advise",
    "columns",
    "compare",
    "explain",
    "levers",
    "modulation",
    "open_run",
    "predict",
    "promise",
    "read_network",
    "read_plan",
    "simulate",
    "worst_outages",
    "write_page",
]
