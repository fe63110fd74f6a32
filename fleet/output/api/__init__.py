"""Expected output and judgement by the API."""
