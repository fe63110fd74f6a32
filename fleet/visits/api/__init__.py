"""The visits room by the API."""
