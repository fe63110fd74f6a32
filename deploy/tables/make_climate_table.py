"""Makes sizing/tables/climate.npz from the package gsee-climate-data. Run it again only to renew that table:

    pip install gsee-climate-data==1.0.0
    python -m deploy.tables.make_climate_table

The package (code BSD-3; data derived from NASA MERRA-2, free to use, to be cited) carries histograms of daily mean
irradiance by month, 2011-2015, on a 3 degree grid. Kept of it: each land cell's monthly mean and the mean of each
twentieth of its days, relative to that mean; days that the sun cannot give are brought back within 0..0.85 of what
comes in above the air.
"""

from pathlib import Path

import numpy as np

from sizing import sun

TABLE = Path(__file__).resolve().parents[2] / "sizing" / "tables" / "climate.npz"
TWENTIETHS = 20
CLEAREST = 0.85  # of the irradiation above the air; the clearest days measured anywhere reach about 0.8
CLEARNESS_EDGES = np.arange(0.30, 0.701, 0.05)  # classes of the month's mean clearness for places without a cell


def monthly_means_of_twentieths(level, share):
    """Mean of each twentieth of the days, dullest first, from histograms: (..., bins) gives (..., 20)."""
    shares = share / share.sum(axis=-1, keepdims=True)
    order = np.argsort(level, axis=-1)
    level, shares = np.take_along_axis(level, order, -1), np.take_along_axis(shares, order, -1)
    days = np.cumsum(shares, axis=-1)
    energy = np.cumsum(shares * level, axis=-1)
    marks = np.linspace(0, 1, TWENTIETHS + 1)
    flat_days, flat_energy = days.reshape(-1, days.shape[-1]), energy.reshape(-1, days.shape[-1])
    up_to = np.stack(
        [np.interp(marks, np.r_[0, d / d[-1]], np.r_[0, e]) for d, e in zip(flat_days, flat_energy, strict=True)]
    )
    return (np.diff(up_to, axis=-1) * TWENTIETHS).reshape(*days.shape[:-1], TWENTIETHS)


def brightest_days(latitude):
    """Highest possible irradiation in each month, kWh/m2/day: (n,) gives (n, 12)."""
    days = sun.extraterrestrial_kwh_m2_day(latitude[:, None], np.arange(1, 366))
    ends = np.cumsum([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])[:-1]
    return CLEAREST * np.stack([month.max(axis=1) for month in np.split(days, ends, axis=1)], axis=1)


def main():
    import gsee_climate_data

    with gsee_climate_data.load() as data:
        level, share = data["xk"].astype(np.float64) * 0.024, data["pk"].astype(np.float64)
        latitude, longitude = data["lat"], data["lon"]
    whole = (np.isfinite(level) & np.isfinite(share)).all(axis=-1) & (np.nan_to_num(share).sum(axis=-1) > 0)
    rows, columns = np.nonzero(whole.all(axis=-1))
    cell_latitude = latitude[rows]
    above = sun.extraterrestrial_kwh_m2_day(cell_latitude[:, None], sun.AVERAGE_DAYS)
    level = np.clip(level[rows, columns], 0, brightest_days(cell_latitude)[..., None])
    days = monthly_means_of_twentieths(level, share[rows, columns])
    mean = days.mean(axis=-1)
    lit = (mean > 0.05).all(axis=-1)  # polar cells with a dark month have no shape of days to tell
    rows, columns, days, mean, above = rows[lit], columns[lit], days[lit], mean[lit], above[lit]
    shape = days / mean[..., None]
    clearness = mean / above
    low = np.abs(latitude[rows]) <= 45
    pooled = []
    for start, end in zip(CLEARNESS_EDGES[:-1], CLEARNESS_EDGES[1:], strict=True):
        among = low[:, None] & (clearness >= start) & (clearness < end)
        pooled.append(shape[among].mean(axis=0))
        print(f"clearness {start:.2f}-{end:.2f}: {among.sum()} cell months, spread {pooled[-1].std():.3f}")
    np.savez_compressed(
        TABLE,
        latitude_deg=latitude.astype(np.float32),
        longitude_deg=longitude.astype(np.float32),
        row=rows.astype(np.int16),
        column=columns.astype(np.int16),
        ghi_kwh_m2_day=mean.astype(np.float16),
        twentieths=shape.astype(np.float16),
        pooled_clearness=((CLEARNESS_EDGES[:-1] + CLEARNESS_EDGES[1:]) / 2).astype(np.float32),
        pooled_twentieths=np.array(pooled, dtype=np.float32),
    )
    print(f"{rows.size} cells, {TABLE.stat().st_size / 1e6:.2f} MB")


if __name__ == "__main__":
    main()
