"""What may be done about expected output; the only code that writes its rows."""

from fleet.output.services.baselines import baselines, changed_since

__all__ = ["baselines", "changed_since"]
