"""What the C library keeps of memory that has been freed, and how it is made to give it back."""

from contextlib import suppress
from ctypes import CDLL

_TRIM_THRESHOLD, _MMAP_THRESHOLD = -1, -3
"""Numbers of these options in glibc's malloc.h."""

_KEPT_ARRAY, _KEPT_IN_ALL = 1 << 22, 1 << 26
"""Arrays of up to 4 MiB are kept for others when they are freed; at the end of the heap up to 64 MiB."""


def arrays_given_back() -> None:
    """Have the C library give large arrays back to the system when they are freed, where it can be told so.

    Else glibc keeps those of up to 32 MiB for later, in holes that later ones rarely fit. Smaller ones come
    and go so often that clearing their pages anew would take a tenth of a run.
    """
    with suppress(OSError, AttributeError, TypeError):
        library = CDLL(None)
        library.mallopt(_MMAP_THRESHOLD, _KEPT_ARRAY)
        library.mallopt(_TRIM_THRESHOLD, _KEPT_IN_ALL)


def holes_given_back() -> None:
    """Have it give back what has been freed between small arrays that are still in use, where it can."""
    with suppress(OSError, AttributeError, TypeError):
        CDLL(None).malloc_trim(0)
