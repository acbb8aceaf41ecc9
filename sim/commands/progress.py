"""A progress bar on standard error, for people only."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager


@contextmanager
def progress_bar(unit: str, *, quiet: bool = False) -> Iterator[Callable[[int, int], None]]:
    """Give a function to call with (done, of all); draws nothing where standard error is no terminal."""
    if quiet or not sys.stderr.isatty():
        yield lambda done, of_all: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (BarColumn(), MofNCompleteColumn(), TextColumn(unit), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(unit, total=None)
        yield lambda done, of_all: bar.update(task, completed=done, total=of_all)
