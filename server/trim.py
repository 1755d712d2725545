"""What a large piece of work leaves free in this process, given back to the board."""

import ctypes
import gc
import sys


def trim_memory() -> None:
    """Give free memory back; glibc keeps most of it otherwise, and a small board has no other."""
    gc.collect()
    if sys.platform == "linux":
        trim = getattr(ctypes.CDLL(None), "malloc_trim", None)
        if trim is not None:
            trim(0)
