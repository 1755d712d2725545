"""What air and sun say about spraying: wet bulb, Delta T, the sun's height, and the caution of an inversion.

Temperatures in degrees Celsius, relative humidity in per cent, angles in degrees, `utc` in seconds since 1970.
"""

from math import asin, atan, atan2, cos, degrees, isfinite, nan, radians, sin, sqrt

J2000_UTC = 946728000.0
"""2000-01-01 12:00 UTC."""
LOW_SUN_DEG = 20.0
"""Below this height of the sun the ground may be cooling: about 2 h before sunset and after sunrise."""
INVERSION_WIND_MPS = 1.5
"""Less wind than this near or after sunset may mean an inversion."""
ICING_C, ICING_PERCENT = 1.0, 85.0
"""In colder and damper air a cup may ice."""


def wet_bulb(temperature: float, humidity: float) -> float:
    """The wet-bulb temperature from temperature and relative humidity.

    Parameters
    ----------
    temperature
        Air temperature [°C].
    humidity
        Relative humidity [%].

    Returns
    -------
    float
        Wet-bulb temperature [°C]; NaN outside -20 to 50 °C or 5 to 99 %, where the fit does not hold.

    Notes
    -----
    A fit for sea-level pressure, within about 1 °C (mostly 0.3 °C) of the psychrometric value.

    References
    ----------
    Stull, "Wet-bulb temperature from relative humidity and air temperature", J. Appl. Meteorol. Climatol. 50 (2011)
    2267, equation 1.

    Examples
    --------
    >>> round(wet_bulb(20.0, 50.0), 1)
    13.7
    """
    if not (-20.0 <= temperature <= 50.0 and 5.0 <= humidity <= 99.0):
        return nan
    return (
        temperature * atan(0.151977 * sqrt(humidity + 8.313659))
        + atan(temperature + humidity)
        - atan(humidity - 1.676331)
        + 0.00391838 * humidity * sqrt(humidity) * atan(0.023101 * humidity)
        - 4.686035
    )


def delta_t(temperature: float, humidity: float) -> float:
    """How far the wet bulb is below the air temperature, a measure of how fast drops dry up.

    Parameters
    ----------
    temperature
        Air temperature [°C].
    humidity
        Relative humidity [%].

    Returns
    -------
    float
        Difference [°C]; NaN where `wet_bulb` is.

    Notes
    -----
    Guides call 2 to 8 °C good and over 10 °C too dry; below 2 °C drops live long and drift far.

    References
    ----------
    Wet bulb after Stull (2011); the guide's bounds: Australian Bureau of Meteorology, second hand.

    Examples
    --------
    >>> round(delta_t(20.0, 50.0), 1)
    6.3
    """
    return temperature - wet_bulb(temperature, humidity)


def sun_place(utc: float, *, lat_deg: float, lon_deg: float) -> tuple[float, float]:
    """Where the sun stands.

    Parameters
    ----------
    utc
        Instant [s since 1970].
    lat_deg
        Latitude, north positive [degrees].
    lon_deg
        Longitude, east positive [degrees].

    Returns
    -------
    tuple
        Height over the horizon without refraction, and azimuth clockwise from north [degrees]; NaN without a date.

    Notes
    -----
    Within about 0.02° between 1950 and 2050.

    References
    ----------
    Low-precision formulas of the Astronomical Almanac, section C (from memory).

    Examples
    --------
    >>> [round(angle, 1) for angle in sun_place(1066419030.0, lat_deg=39.742476, lon_deg=-105.1786)]
    [39.9, 194.3]
    """
    if not isfinite(utc):
        return nan, nan
    days = (utc - J2000_UTC) / 86400.0
    anomaly = radians(357.528 + 0.9856003 * days)
    mean_longitude = 280.460 + 0.9856474 * days
    longitude = radians(mean_longitude + 1.915 * sin(anomaly) + 0.020 * sin(2.0 * anomaly))
    tilt = radians(23.439 - 4e-7 * days)
    right_ascension = atan2(cos(tilt) * sin(longitude), cos(longitude))
    declination = asin(sin(tilt) * sin(longitude))
    sidereal = radians(280.46062 + 360.98564737 * days + lon_deg)
    hour = sidereal - right_ascension
    lat = radians(lat_deg)
    height = asin(sin(lat) * sin(declination) + cos(lat) * cos(declination) * cos(hour))
    azimuth = atan2(-sin(hour), cos(lat) * sin(declination) / cos(declination) - sin(lat) * cos(hour))
    return degrees(height), degrees(azimuth) % 360.0


def is_inversion_likely(wind_mps: float, utc: float, *, lat_deg: float, lon_deg: float) -> bool:
    """Whether an inversion must be feared: little wind while the sun is low or down.

    Parameters
    ----------
    wind_mps
        Mean wind [m/s].
    utc
        Instant [s since 1970].
    lat_deg
        Latitude, north positive [degrees].
    lon_deg
        Longitude, east positive [degrees].

    Returns
    -------
    bool
        True is a caution, not a finding; False where wind or date are not known.

    Notes
    -----
    One anemometer cannot see an inversion, which is warmer air above. Inversions were seen from 3 to 4 h before sunset
    to 1 or 2 h after sunrise; a sun below 20° covers 2 h at middle latitudes. The bound of 1.5 m/s is common
    practice, no source.

    References
    ----------
    NDSU Crop & Pest Report, 20 May 2021 (hours of inversions); bound from memory.

    Examples
    --------
    >>> is_inversion_likely(0.8, 1066419030.0, lat_deg=39.742476, lon_deg=-105.1786)
    False
    """
    height, _ = sun_place(utc, lat_deg=lat_deg, lon_deg=lon_deg)
    return bool(wind_mps < INVERSION_WIND_MPS and height < LOW_SUN_DEG)


def is_icing_likely(temperature: float, humidity: float) -> bool:
    """Whether a cup may be iced: air near or below freezing that is damp enough for rime, frost or frozen drops.

    Parameters
    ----------
    temperature
        Air temperature [°C].
    humidity
        Relative humidity [%].

    Returns
    -------
    bool
        True is a caution, not a finding; False where either is NaN.

    Notes
    -----
    An iced cup turns, but too slowly: nothing in its counts tells it from less wind.

    References
    ----------
    Common practice, no source: 1 °C and 85 %, with room for the sensor's own error (0.5 °C, EPA-454/R-99-005, table
    5-1).

    Examples
    --------
    >>> is_icing_likely(-2.0, 95.0), is_icing_likely(-2.0, 50.0), is_icing_likely(10.0, 95.0)
    (True, False, False)
    """
    return bool(temperature <= ICING_C and humidity >= ICING_PERCENT)
