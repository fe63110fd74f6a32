"""The expected card of an installation: what flow, volts and amps are right at which sun and water level."""


def expected_card(installation):
    """{suns: [W/m²], levels: [m], flow: [[L/min by level] by sun], …}, or empty while nothing is worked out."""
    baseline = getattr(installation, "baseline", None) if installation is not None else None
    return baseline.card if baseline is not None and baseline.card else {}
