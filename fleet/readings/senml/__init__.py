"""Sensor Measurement Lists (SenML, RFC 8428) as a way in for readings: the pack, its names, its rows."""

from fleet.readings.senml.names import rows_of
from fleet.readings.senml.pack import Fault, Record, looks_like_pack, read_pack, resolve

__all__ = ["Fault", "Record", "looks_like_pack", "read_pack", "resolve", "rows_of"]
