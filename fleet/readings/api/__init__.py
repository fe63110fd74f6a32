"""The readings' room by the API."""
