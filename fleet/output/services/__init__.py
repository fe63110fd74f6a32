"""What may be done about expected output; the only code that writes its rows."""

from fleet.output.services.baselines import baselines, changed_since
from fleet.output.services.spot import answer_spot, own_level

__all__ = ["answer_spot", "baselines", "changed_since", "own_level"]
