"""What other steps of a visit measured that its spot test rests on too, so that nothing is typed twice.

The telephone does the same by itself (`beside.js`) and sends the figures along: pieces may come home in any order.
"""

WANTED = ("loop_ohm", "first_water_min", "main", "meter_l", "bucket_l")


def beside(records):
    """{loop_ohm, first_water_min, main_was_full, meter_share} from a visit's standing records, each only if known."""
    seen = {code: record.values[code] for record in records for code in WANTED if record.values.get(code)}
    numbers = {code: value for code, value in seen.items() if isinstance(value, int | float)}
    found = {name: numbers[name] for name in ("loop_ohm", "first_water_min") if name in numbers}
    if "first_water_min" in found and seen.get("main") == "full":
        found["main_was_full"] = True
    if "meter_l" in numbers and "bucket_l" in numbers:
        found["meter_share"] = numbers["meter_l"] / numbers["bucket_l"]
    return found


def with_beside(readings, records):
    """A spot test's readings with those of the other steps; what stands in the test itself goes first."""
    more = beside(records)
    share = more.pop("meter_share", None)
    readings = {**more, **readings}
    fills = [60 * fill["litres"] / fill["seconds"] for fill in readings.get("repeats") or []]
    if share is not None and fills and readings.get("meter_flow_l_min") is None:
        readings["meter_flow_l_min"] = round(share * sorted(fills)[len(fills) // 2], 2)
    return readings
