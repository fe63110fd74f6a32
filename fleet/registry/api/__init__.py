"""The registry by the API."""
