"""The sky and the dirt of units in trouble: clouds that pass by quarter hours, rain that washes."""

from typing import NamedTuple

import numpy as np

STEPS = 48  # quarter hours from 6 to 18, solar time
HOUR = 6.125 + 0.25 * np.arange(STEPS)


def clearness(rng, region, here, days):
    """Clearness of each unit's days (n, days): weather of the region, clouds of the place, and a wet season."""
    def walk(m, memory, sd):
        x = np.zeros((m, days))
        x[:, 0] = rng.normal(0, sd, m)
        for d in range(1, days):
            x[:, d] = memory * x[:, d - 1] + rng.normal(0, sd * np.sqrt(1 - memory**2), m)
        return x

    wet = np.cos(2 * np.pi * (np.arange(days)[None, :] - np.array([150, 60, 330, 170])[:, None]) / 365.0)
    x = (0.75 - 0.35 * wet + walk(4, 0.6, 0.4))[region]
    x = x + walk(here.max() + 1, 0.3, 0.42)[here] + walk(len(here), 0.2, 0.25)
    return np.clip(0.8 / (1 + np.exp(-x)), 0.05, 0.78)


class Plane(NamedTuple):
    beam: np.ndarray
    rest: np.ndarray
    height: np.ndarray


def in_plane(latitude, tilt, azimuth, doy, clear):
    """Beam and the rest in the plane, W/m2, and the sun's height, degrees: (days, steps). Erbs's hourly split, an even
    sky (Duffie & Beckman, Solar Engineering of Thermal Processes, ch. 2, from memory)."""
    dec = np.radians(23.45 * np.sin(2 * np.pi * (284 + doy) / 365))[:, None]
    w, lat = np.radians(15 * (HOUR - 12))[None, :], np.radians(latitude)
    up = np.sin(lat) * np.sin(dec) + np.cos(lat) * np.cos(dec) * np.cos(w)
    south = np.cos(dec) * np.cos(w) * np.sin(lat) - np.sin(dec) * np.cos(lat)
    west = np.cos(dec) * np.sin(w)
    b, a = np.radians(tilt), np.radians(azimuth)
    face = up * np.cos(b) + np.sin(b) * (-south * np.cos(a) - west * np.sin(a))
    ghi = clear * 1361 * np.maximum(up, 0)
    k = np.clip(clear, 0, 0.9)
    split = np.where(k < 0.22, 1 - 0.09 * k, np.where(k < 0.8, 0.9511 - 0.1604 * k + 4.388 * k**2 - 16.638 * k**3
                                                      + 12.336 * k**4, 0.165))  # fmt: skip
    rest = split * ghi * (1 + np.cos(b)) / 2 + 0.2 * ghi * (1 - np.cos(b)) / 2
    seen = np.maximum(face, 0)
    glass = np.clip(1 - 0.05 * (1 / np.maximum(seen, 0.09) - 1), 0, 1)
    beam = (1 - split) * ghi * np.minimum(seen / np.maximum(up, 0.06), 5) * glass
    return Plane(np.where(up > 0.02, beam, 0), np.where(up > 0.02, rest, 0), np.degrees(np.arcsin(up)))


def quarters(rng, day_clear, doy, latitude):
    """Clearness by quarter hours whose day is as clear as said: (days, steps)."""
    n = len(day_clear)
    e = np.zeros((n, STEPS))
    e[:, 0] = rng.normal(size=n)
    for s in range(1, STEPS):
        e[:, s] = 0.8 * e[:, s - 1] + 0.6 * rng.normal(size=n)
    unrest = 1.6 * np.sin(np.pi * np.clip(day_clear / 0.8, 0, 1))[:, None]
    raw = 0.8 / (1 + np.exp(-(np.log(day_clear / (0.8 - day_clear))[:, None] + unrest * e)))
    dec = np.radians(23.45 * np.sin(2 * np.pi * (284 + doy) / 365))[:, None]
    lat, w = np.radians(latitude), np.radians(15 * (HOUR - 12))[None, :]
    up = np.maximum(np.sin(lat) * np.sin(dec) + np.cos(lat) * np.cos(dec) * np.cos(w), 0)
    return np.clip(raw * (day_clear * up.sum(1) / (raw * up).sum(1))[:, None], 0.02, 0.82)


def dirt(rng, clear):
    """Share of light that normal dirt takes, by day, and whether it rained."""
    rain = rng.random(len(clear)) < np.clip((0.5 - clear) * 1.5, 0, 0.7)
    grows, washed = rng.uniform(0.0008, 0.003), rng.uniform(0.5, 0.95)
    taken, out = 0.02, np.zeros(len(clear))
    for d in range(len(clear)):
        taken = taken * (1 - washed) if rain[d] else min(taken + grows, 0.12)
        if rng.random() < 1 / 45:  # somebody wipes them
            taken *= 0.3
        out[d] = taken
    return out, rain
