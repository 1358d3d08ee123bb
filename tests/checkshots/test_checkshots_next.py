"""When the next check shot is due: what is foretold against what then happens."""

import numpy as np
import pytest

from steer.checkshots.effect import reports, without
from steer.drive import Drive
from steer.estimate import sureness


@pytest.fixture(scope="module")
def sample(made_demo):
    with Drive.open(made_demo) as drive:
        drive.follower.bring_up()
        yield drive


@pytest.mark.parametrize(("last_shot_m", "share"), [(30.6, 0.08), (30.6, 0.1), (60.3, 0.06), (60.3, 0.07)])
def test_the_sd_reaches_the_share_where_it_was_foretold(sample, monkeypatch, last_shot_m, share):
    """The sample drive without the shots after one chainage. Far smaller shares than the tool's own, since
    the drive is too short for those to be reached."""
    monkeypatch.setattr(sureness, "SURVEY_SHARE", share)
    estimator = sample.follower.estimator
    later = {r.shot.sequence for r in reports(estimator) if r.shot.s_m > last_shot_m + 0.1}
    assert later
    bare = without(estimator, later)
    now = bare.node_at(last_shot_m + 0.05)
    tolerance = np.array([sample.file.tolerance.line_mm, sample.file.tolerance.level_mm])

    def over(node):
        return bool((np.sqrt(node.blend()[1][:, 0, 0]) > share * tolerance).any())

    assert not over(now)
    reached = next(n.s_m for n in bare.nodes if n.s_m > now.s_m and over(n))
    foretold = sureness.next_survey(now, bare)
    assert last_shot_m + 10.0 < foretold < 99.9
    assert abs(foretold - reached) < 4.0


def test_a_shot_puts_the_next_one_off(sample):
    estimator = sample.follower.estimator
    bare = without(estimator, {r.shot.sequence for r in reports(estimator)})
    share_then = 0.1
    at = 98.0
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sureness, "SURVEY_SHARE", share_then)
        assert sureness.next_survey(estimator.node_at(at), estimator) > sureness.next_survey(
            bare.node_at(at), bare
        )
