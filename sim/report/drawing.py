"""From a figure to a piece of the page: one look for all, and SVG that refers to nothing outside itself."""

import io
import re
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING, Any

import matplotlib
from matplotlib.figure import Figure
from matplotlib.layout_engine import ConstrainedLayoutEngine

from hopyears.sim.wording.palette import FAINT, INK

if TYPE_CHECKING:
    from matplotlib.axes import Axes

WIDTH_IN = 10.0
"""Width of every figure [inch of 72 points]."""

PNG_DPI = 150
"""Resolution of picture files [pixel an inch]."""

LOOK: dict[Any, Any] = {
    "axes.axisbelow": True,
    "axes.edgecolor": FAINT,
    "axes.labelcolor": INK,
    "axes.labelsize": 10,
    "axes.linewidth": 0.8,
    "axes.spines.right": False,
    "axes.spines.top": False,
    "axes.titlecolor": INK,
    "axes.titlelocation": "left",
    "axes.titlesize": 10,
    "figure.facecolor": "none",
    "axes.facecolor": "none",
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans"],
    "font.size": 10,
    "grid.color": FAINT,
    "grid.linewidth": 0.5,
    "legend.frameon": False,
    "legend.fontsize": 9,
    "savefig.facecolor": "none",
    "svg.fonttype": "none",
    "text.color": INK,
    "text.parse_math": False,
    "xtick.color": INK,
    "xtick.labelsize": 9,
    "xtick.minor.visible": False,
    "ytick.color": INK,
    "ytick.labelsize": 9,
    "ytick.left": False,
}
"""Settings of the plotting library; names of things are never read as formulas."""

_NO_METADATA = dict.fromkeys(("Creator", "Date", "Format", "Type"))


@contextmanager
def look() -> Iterator[None]:
    """Draw in the report's look; glyphs that the measuring font lacks are the reader's browser's affair."""
    with matplotlib.rc_context(LOOK), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        yield


def new_axes(
    height_in: float,
    *,
    head_in: float = 0.0,
    n_columns: int = 1,
    n_rows: int = 1,
    make: Callable[..., Figure] = Figure,
    **options: object,
) -> "list[Axes]":
    """Axes of a new figure of full width, row by row.

    Parameters
    ----------
    height_in : float
        Height of the axes with their labels [inch].
    head_in : float
        Room above them, for a legend [inch].
    n_columns, n_rows : int
        Grid of axes.
    make : callable
        Makes the figure.
    **options
        For ``Figure.subplots``.
    """
    whole_in = height_in + head_in
    layout = ConstrainedLayoutEngine(rect=(0.0, 0.0, 1.0, height_in / whole_in))
    figure = make(figsize=(WIDTH_IN, whole_in), layout=layout)
    grid = figure.subplots(n_rows, n_columns, squeeze=False, **options)  # type: ignore[call-overload]
    return list(grid.ravel())


def write_png(figure: Figure, path: Path, *, description: str) -> None:
    """Picture file of a figure on white ground, and in words; equal figures give equal bytes."""
    figure.savefig(
        path, dpi=PNG_DPI, facecolor="white", metadata={"Software": None, "Description": description}
    )


def inline_svg(figure: Figure, *, name: str, description: str) -> str:
    """SVG element of a figure, safe to set into a page.

    Parameters
    ----------
    figure : Figure
    name : str
        Letters and dashes, unlike that of any other figure of the page; all ids begin with it.
    description : str
        What the figure shows, for those who cannot see it.
    """
    buffer = io.StringIO()
    with matplotlib.rc_context({"svg.hashsalt": name}):
        figure.savefig(buffer, format="svg", metadata=_NO_METADATA)
    text = buffer.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>\s*", "", text, flags=re.DOTALL)
    text = re.sub(r'\bid="([^"]+)"', rf'id="{name}-\1"', text)
    text = re.sub(r'(xlink:href="#|url\(#)', rf"\g<1>{name}-", text)
    head, rest = text.split(">", 1)
    box = re.search(r'viewBox="[^"]+"', head)
    assert box is not None  # the SVG writer always gives one
    opening = (
        f'<svg {box.group()} class="figure" role="img" aria-label="{escape(description)}" '
        'xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'
    )
    return f"{opening}>{rest}".strip()
