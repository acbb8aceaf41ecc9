"""What the C library keeps of memory that has been freed, and how it is made to give it back."""

from contextlib import suppress
from ctypes import CDLL

_MMAP_THRESHOLD = -3
"""Number of that option in glibc's malloc.h."""


def arrays_given_back() -> None:
    """Have the C library give large arrays back to the system when they are freed, where it can be told so.

    Else glibc keeps those of up to 32 MiB for later, in holes that later ones rarely fit.
    """
    with suppress(OSError, AttributeError, TypeError):
        CDLL(None).mallopt(_MMAP_THRESHOLD, 1 << 18)


def holes_given_back() -> None:
    """Have it give back what has been freed between small arrays that are still in use, where it can."""
    with suppress(OSError, AttributeError, TypeError):
        CDLL(None).malloc_trim(0)
