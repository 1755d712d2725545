"""dose.npz: the dose map as arrays, with the same bytes for the same numbers."""

import io
import zipfile
from typing import Any

import numpy as np

from server.core.results import JobResult

EARLIEST = (1980, 1, 1, 0, 0, 0)
"""A zip entry must carry a time; this one says nothing."""


def grid_arrays(result: JobResult) -> dict[str, Any]:
    """The arrays by name."""
    dose = result.dose
    return {
        "dose": dose.dose_l_per_m2,
        "sd": dose.sd_l_per_m2,
        "p_missed": dose.p_missed,
        "p_under": dose.p_under,
        "p_over": dose.p_over,
        "x0": np.float64(dose.x0_m),
        "y0": np.float64(dose.y0_m),
        "cell_m": np.float64(dose.cell_m),
        "lat0": np.float64(result.plane.lat0_deg),
        "lon0": np.float64(result.plane.lon0_deg),
    }


def write_grid(result: JobResult) -> bytes:
    """The arrays as an npz file's bytes; numpy's own writer would stamp the time."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, values in grid_arrays(result).items():
            entry = io.BytesIO()
            np.lib.format.write_array(entry, np.asarray(values, dtype=np.float64), allow_pickle=False)
            info = zipfile.ZipInfo(f"{name}.npy", EARLIEST)
            info.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(info, entry.getvalue())
    return packed.getvalue()
