"""Hourly weather records for tests, in the layouts of the open services: what a place's days sum to is chosen."""

import json
from datetime import UTC, datetime, timedelta

import numpy as np


def hours_of(days_kwh_m2, first, longitude_deg):
    """(moments in UTC, W/m2) of days that sum to the given kWh/m2, a half sine from six to six by local sun."""
    shift = round(longitude_deg / 15)
    shape = np.maximum(np.sin(np.pi * (np.arange(24) + 0.5 - 6) / 12), 0)
    shape = shape / shape.sum() * 1000
    moments, ghi = [], []
    for n, kwh in enumerate(days_kwh_m2):
        start = datetime(first.year, first.month, first.day, tzinfo=UTC) + timedelta(days=n, hours=-shift)
        moments += [start + timedelta(hours=h) for h in range(24)]
        ghi += (shape * kwh).round(2).tolist()
    return moments, ghi


def power_json(days_kwh_m2, first, latitude_deg=3.0, longitude_deg=35.5, air_c=29.0, gaps=()):
    moments, ghi = hours_of(days_kwh_m2, first, longitude_deg)
    names = [f"{m:%Y%m%d%H}" for m in moments]
    sun = {n: -999.0 if m.isoformat() in gaps else g for n, m, g in zip(names, moments, ghi)}
    return json.dumps({
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": [longitude_deg, latitude_deg, 620.0]},
        "properties": {"parameter": {"ALLSKY_SFC_SW_DWN": sun, "T2M": dict.fromkeys(names, air_c)}},
        "header": {"title": "invented", "fill_value": -999.0},
        "parameters": {}, "times": {"data": 0.1, "process": 0.1},
    })  # fmt: skip


def pvgis_hourly(days_kwh_m2, first, latitude_deg=3.0, longitude_deg=35.5, slope=0):
    moments, ghi = hours_of(days_kwh_m2, first, longitude_deg)
    lines = [
        f"Latitude (decimal degrees):\t{latitude_deg}", f"Longitude (decimal degrees):\t{longitude_deg}",
        "Elevation (m):\t620.0", "Radiation database:\tinvented", "", f"Slope: {slope} deg.", "Azimuth: 0 deg.", "",
        "time,G(i),H_sun,T2m,WS10m,Int",
    ]  # fmt: skip
    lines += [f"{m:%Y%m%d:%H}10,{g},40.0,29.0,2.0,0.0" for m, g in zip(moments, ghi)]
    return "\r\n".join([*lines, "", "G(i): Global irradiance on the inclined plane (W/m2)", ""])


def pvgis_hourly_json(days_kwh_m2, first, latitude_deg=3.0, longitude_deg=35.5):
    """As the service answers a program that asks for level ground without components."""
    moments, ghi = hours_of(days_kwh_m2, first, longitude_deg)
    hours = [
        {"time": f"{m:%Y%m%d:%H}10", "G(i)": g, "H_sun": 40.0, "T2m": 29.0, "WS10m": 2.0, "Int": 0.0}
        for m, g in zip(moments, ghi)
    ]  # fmt: skip
    place = {"latitude": latitude_deg, "longitude": longitude_deg, "elevation": 620.0}
    return json.dumps({
        "inputs": {"location": place, "mounting_system": {"fixed": {"slope": {"value": 0}, "azimuth": {"value": 0}}}},
        "outputs": {"hourly": hours}, "meta": {"inputs": {}, "outputs": {}},
    })  # fmt: skip


def cams_csv(days_kwh_m2, first, latitude_deg=3.0, longitude_deg=35.5, step="0 year 0 month 0 day 1 h 0 min 0 s"):
    moments, ghi = hours_of(days_kwh_m2, first, longitude_deg)
    lines = [
        f"# Latitude (positive North, ISO 19115): {latitude_deg}",
        f"# Longitude (positive East, ISO 19115): {longitude_deg}",
        "# Altitude (m): 620.00", f"# Summarization (integration) period: {step}",
        "# Observation period;TOA;Clear sky GHI;Clear sky BHI;Clear sky DHI;Clear sky BNI;GHI;BHI;DHI;BNI;Reliability",
    ]  # fmt: skip
    for m, g in zip(moments, ghi):
        until = m + timedelta(hours=1)
        lines.append(f"{m:%Y-%m-%dT%H:%M:%S.0}/{until:%Y-%m-%dT%H:%M:%S.0};900;800;600;200;700;{g};{g};0;{g};1")
    return "\n".join(lines) + "\n"


def nsrdb_csv(days_kwh_m2, first, latitude_deg=3.0, longitude_deg=35.5):
    moments, ghi = hours_of(days_kwh_m2, first, longitude_deg)
    lines = [
        "Source,Location ID,Latitude,Longitude,Time Zone,Elevation,Local Time Zone",
        f"invented,1,{latitude_deg},{longitude_deg},0,620,2", "Year,Month,Day,Hour,Minute,GHI,Temperature",
    ]  # fmt: skip
    lines += [f"{m.year},{m.month},{m.day},{m.hour},30,{g},29" for m, g in zip(moments, ghi)]
    return "\n".join(lines) + "\n"
