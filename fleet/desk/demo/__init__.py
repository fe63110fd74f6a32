"""The demo: an invented organisation with some sixty units, two years of readings and a past of visits.

Everything is made up: people, organisation, districts, villages, types, serials. Only the coordinates are real land.
It is deterministic: the same last day gives the same rows. It lives in an organisation marked `is_demo` and is refused
where a real organisation keeps its fleet.
"""
