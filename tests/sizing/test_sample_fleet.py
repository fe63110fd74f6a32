"""The chain against the sample fleet: what a sound unit should have given, against what it gave."""

import numpy as np

from sizing import chain
from tests.makers import sample_fleet


def test_every_recorded_installation_can_be_computed():
    read = sample_fleet.fleet()
    assert [r for r in read.reasons if r] == []
    flow = chain.spot(read.fleet, 800, 30).flow_l_min
    assert np.isfinite(flow).all()
    assert (flow > 0).mean() > 0.9
