"""What all places share about calm that lasts: coefficients before a place has a past of its own.

Pure numbers, in the order of `server.core.windpast.NAMES`, by length of the means [s] and horizon [min]. Written by
`tests/benchmarks/outlook.py --fit`; not by hand.

Origin: 448 station-days of six recorded winds. 10-min means, January to August 2015, of a sheltered orchard
field (10 m) and a tower (25 m) in Massachusetts (MacLeish Field Station, package macleish, CC0); 1-min means of seven
days in Oklahoma and one day at two masts in Alabama, 10 m (Atmospheric Radiation Measurement, DOI 10.5439/1786358 and
10.5439/1455447), and of one day at 3 m in Colorado (National Renewable Energy Laboratory's Measurement and
Instrumentation Data Center, from the tests of pvlib, BSD-3). Limits learnt from: between 0.8 and 5 m/s. Those for
1-min means start from those for 10-min means, since only ten station-days of them are there. Few places, all in North
America: a place's own days soon count for more.
"""

# fmt: off
PRIOR: dict[tuple[int, int], tuple[float, ...]] = {
    (60, 10): (
        2.716, -0.575, -0.828, -1.767, 0.000, 0.000, 0.000, -0.720,
        -0.244, 0.000, -0.568, 0.077, -0.168, -0.323, -0.099,
    ),
    (60, 20): (
        2.365, -0.572, -0.231, -1.611, 0.000, 0.000, 0.000, -0.864,
        -0.307, -0.026, -0.664, 0.120, -0.172, -0.346, -0.036,
    ),
    (60, 30): (
        2.124, -0.461, -0.135, -1.548, 0.000, 0.000, 0.000, -0.816,
        -0.464, -0.069, -0.713, 0.137, -0.161, -0.340, 0.018,
    ),
    (60, 60): (
        1.577, -0.314, 0.000, -1.334, 0.000, 0.000, -0.157, -0.722,
        -0.615, 0.000, -0.645, 0.193, -0.087, -0.257, 0.199,
    ),
    (600, 10): (
        4.096, -1.465, -1.876, 0.000, -0.113, -0.568, -0.624, -0.442,
        0.000, -0.102, 0.295, -0.086, -0.162, 0.073,
    ),
    (600, 20): (
        3.343, -0.832, -1.584, 0.000, -0.159, -0.700, -0.660, -0.441,
        0.000, -0.164, 0.343, -0.127, -0.181, 0.118,
    ),
    (600, 30): (
        2.908, -0.667, -1.455, 0.000, -0.101, -0.748, -0.630, -0.472,
        0.000, -0.199, 0.368, -0.164, -0.194, 0.155,
    ),
    (600, 60): (
        2.140, -0.439, -1.298, 0.000, -0.028, -0.876, -0.547, -0.456,
        0.000, -0.300, 0.433, -0.250, -0.211, 0.251,
    ),
}
