"""Irradiance on a tilted plane, and what the glass lets through."""

from typing import NamedTuple

import numpy as np

from sizing.checks import within

__all__ = ["Plane", "ground_incidence_deg", "incidence_factor", "on_plane", "sky_incidence_deg"]

# Below one degree of sun the ratio of the planes explodes; same limit as in pvlib.
LOW_SUN_COS = 0.01745

# Glass of an ordinary module. Source: De Soto, Klein & Beckman 2006, Solar Energy 80:78.
_GLASS = {"n": 1.526, "K": 4.0, "L": 0.002}


class Plane(NamedTuple):
    """W/m2 on the plane: beam from the sun, sky diffuse, reflected from the ground, and their sum."""

    beam_w_m2: np.ndarray
    sky_w_m2: np.ndarray
    ground_w_m2: np.ndarray
    total_w_m2: np.ndarray


def on_plane(
    ghi_w_m2,
    dhi_w_m2,
    cos_zenith,
    cos_incidence,
    tilt_deg,
    extra_normal_w_m2,
    *,
    ground_reflectance=0.2,
    beam_open=1.0,
    sky_share=1.0,
):
    """Irradiance on a tilted plane from global and diffuse horizontal irradiance.

    Shapes broadcast. beam_open: share of the direct light that nothing hides; it takes the bright ring around the sun
    with it. sky_share: share of the sky above the skyline. Ground 0.2 isotropic (common practice; grass, dry soil).
    Holds with the sun above one degree; lower, the planes' ratio is held. NaN gives NaN.
    Source: Hay & Davies 1980 through pvlib; ground after Liu & Jordan 1963.
    """
    from pvlib.irradiance import haydavies

    ghi = within(ghi_w_m2, 0, 2000, "ghi_w_m2")
    dhi = within(dhi_w_m2, 0, 1500, "dhi_w_m2")
    tilt = within(tilt_deg, 0, 180, "tilt_deg")
    ground = within(ground_reflectance, 0, 1, "ground_reflectance")
    extra = within(extra_normal_w_m2, 1200, 1500, "extra_normal_w_m2")
    above = np.maximum(cos_zenith, LOW_SUN_COS)
    ratio = np.maximum(cos_incidence, 0) / above
    beam_level = np.maximum(ghi - dhi, 0) * beam_open
    direct = np.minimum(beam_level / above, extra)
    sky = haydavies(tilt, None, dhi * sky_share, direct, extra, projection_ratio=ratio)
    beam = beam_level * ratio
    reflected = ghi * ground * (1 - np.cos(np.radians(tilt))) / 2
    beam, sky, reflected = np.broadcast_arrays(beam, sky, reflected)
    return Plane(beam, sky, reflected, beam + sky + reflected)


def incidence_factor(incidence_deg):
    """Light through the glass at this angle against light from straight ahead: 1 at 0, 0 from 90 degrees on.

    Shape kept. Source: Fresnel and Bouguer as De Soto, Klein & Beckman 2006, through pvlib (n 1.526, K 4/m, L 2 mm).
    """
    from pvlib.iam import physical

    angle = within(incidence_deg, 0, 180, "incidence_deg")
    factor = physical(np.minimum(angle, 89.9999), **_GLASS)
    return np.where(np.isnan(angle), np.nan, np.where(angle < 90, factor, 0.0))


def sky_incidence_deg(tilt_deg):
    """The angle at which beam loses as much in the glass as the light of a whole even sky does. Shape kept.

    Source: Brandemuehl & Beckman 1980, Solar Energy 24:511 (Duffie & Beckman, equation 5.4.2).
    """
    tilt = within(tilt_deg, 0, 90, "tilt_deg")
    return 59.7 - 0.1388 * tilt + 0.001497 * tilt**2


def ground_incidence_deg(tilt_deg):
    """As `sky_incidence_deg`, for light from the ground (Duffie & Beckman, equation 5.4.1)."""
    tilt = within(tilt_deg, 0, 90, "tilt_deg")
    return 90 - 0.5788 * tilt + 0.002693 * tilt**2
