"""One fingerprint of a job's samples, the same whether they came from the store or from a file."""

import hashlib
import json
from dataclasses import fields

import numpy as np

from server.core.log import ClimateSamples, Counts, Fixes, Happening, WindSamples

Series = Fixes | Counts | WindSamples | ClimateSamples


def digest_samples(boots: tuple[str, ...], series: tuple[Series, ...], happenings: tuple[Happening, ...]) -> str:
    """The SHA-256 of a job's samples.

    Parameters
    ----------
    boots
        Names of the device's starts in order.
    series
        The job's series in a fixed order.
    happenings
        Events and operator messages in order.

    Returns
    -------
    str
        64 hexadecimal digits.

    Notes
    -----
    Over little-endian 64-bit numbers with one pattern for NaN, so it is the same on every machine.

    References
    ----------
    SHA-256: FIPS PUB 180-4.

    Examples
    --------
    >>> digest_samples(("0123abcd",), (), ())[:8]
    '5083d12a'
    """
    digest = hashlib.sha256(json.dumps(boots).encode())
    for found in series:
        for field in fields(found):
            values = np.asarray(getattr(found, field.name), dtype=np.float64)
            whole = np.where(np.isnan(values), np.nan, values) + 0.0
            digest.update(f"{field.name}{len(whole)}".encode())
            digest.update(whole.astype("<f8").tobytes())
    for happening in happenings:
        line = [happening.source, happening.boot, happening.seq, happening.mono, happening.kind, happening.detail]
        digest.update(json.dumps(line, sort_keys=True, separators=(",", ":")).encode())
    return digest.hexdigest()
