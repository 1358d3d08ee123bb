"""A beam that the air bends: check shots show it, and the estimate follows within what it says of itself."""

from __future__ import annotations

import numpy as np
import pytest
from support_refracted import refracted


@pytest.mark.parametrize(("seed", "k_per_m"), [(9000, 1.0), (9001, -1.0)])
def test_the_face_stays_inside_its_interval(seed, k_per_m):
    off, sd = refracted(seed, k_per_m)
    far = np.abs(off[1:, 1] / sd[1:, 1])
    assert (far <= 1.96).mean() > 0.9
    assert far.max() < 3.5
    assert sd[-1, 1] < 10.0  # it is known, not merely doubted: the beam is off by 29 mm there
