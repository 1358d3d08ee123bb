"""What is said about the estimate's sureness claims the 95 % that the pages beside it claim."""

import re
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.stats import norm

from steer.estimate.sureness import sureness


def said(line_sd_mm: float, tolerance_mm: float, waiting: int = 0):
    covariance = np.zeros((2, 12, 12))
    covariance[:, 0, 0] = line_sd_mm**2, 0.1
    node = SimpleNamespace(s_m=40.0, blend=lambda: (np.zeros((2, 12)), covariance))
    drive = SimpleNamespace(tolerance=SimpleNamespace(line_mm=tolerance_mm, level_mm=tolerance_mm))
    return sureness(node, drive, waiting)


@pytest.mark.parametrize("sd_mm", [1.0, 9.6, 18.9, 33.0, 83.2])
@pytest.mark.parametrize(("share", "code"), [(0.4, "survey_due"), (0.8, "estimate_unsure")])
def test_the_band_holds_95_per_cent_rounded_up(sd_mm, share, code):
    """Against scipy's normal distribution; 2 sd would be wider: "± 166" beside "± 164" on one page."""
    (notice,), trusted = said(sd_mm, sd_mm / share)
    assert notice.code == code and trusted == (code == "survey_due")
    band = norm.ppf(0.975) * sd_mm
    stated = int(re.search(r"± (\d+) mm", notice.text).group(1))
    assert 0.0 <= stated - band < 1.0
    if code == "survey_due":
        of_tolerance = int(re.search(r"(\d+) % of the", notice.text).group(1))
        assert of_tolerance == round(100.0 * norm.ppf(0.975) * share)


@pytest.mark.parametrize("share", [0.4, 0.8])
def test_while_shots_wait_for_a_word_no_other_is_asked_for(share):
    for waiting, decide in ((1, "1 check shot waits"), (2, "2 check shots wait")):
        ((notice,), _) = said(20.0, 20.0 / share, waiting)
        assert decide in notice.text and "decide on" in notice.text
        assert not re.search(r"[Tt]ake a check shot|shot is due|key", notice.text)
