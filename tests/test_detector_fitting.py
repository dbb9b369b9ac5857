"""Fitting the evidence: weights keep their sign whatever the cases say, and make a working module."""

import runpy

import numpy as np
import pytest

from shopmon.errors import SettingError
from shopmon.listening.chatter.clues import CLUES
from tests.bench.detector import corpus, fitting
from tests.bench.detector.__main__ import commands

LINES_A_HOP, HOPS, CASES = 3, 300, 10


def invented():
    """Hops whose first line is chatter in every other case; strangers speak for it, which they must not."""
    rng = np.random.default_rng(5)
    case = np.arange(HOPS) * CASES // HOPS
    ringing = case % 2
    clues = rng.uniform(-30, -28, (HOPS, LINES_A_HOP, len(CLUES)))

    def set_first(name, quiet, chatter):
        level = np.where(ringing == 1, chatter, quiet)
        clues[:, 0, CLUES.index(name)] = level + rng.normal(0, 0.2 * abs(chatter - quiet), HOPS)

    set_first("over_comb_db", -12, 8)
    set_first("family_teeth", 0.4, 1.2)
    set_first("strangers", 1, 5)
    set_first("flutes_known", 1, 0)
    ringing[::20] = -1
    return fitting.Hops(
        clues=clues.reshape(-1, len(CLUES)).astype(np.float32),
        hop=np.repeat(np.arange(HOPS), LINES_A_HOP),
        ringing=ringing,
        case=case,
        worth=np.ones(CASES),
    )


@pytest.fixture(scope="module")
def found():
    """Steps, products and coefficients fitted to the invented hops."""
    return fitting.fitted(invented())


def weights_of(name, found):
    """Weights of all steps of a clue."""
    steps, _, weights = found
    return np.array([weights[1 + at] for at, step in enumerate(steps) if step[0] == name])


def test_weights_keep_their_sign(found):
    steps, _, weights = found
    for (name, *_), weight in zip(steps, weights[1:], strict=False):
        if name in fitting.FALLING:
            assert weight <= 0, name
        elif name not in fitting.FREE:
            assert weight >= 0, name
    assert np.all(weights[1 + len(steps) :] >= 0)
    assert weights_of("over_comb_db", found).sum() > 0.5
    assert np.all(weights_of("strangers", found) == 0)  # the cases ask for the opposite
    assert weights_of("flutes_known", found)[0] < -0.1  # free


def test_the_printed_module_works(found, tmp_path):
    steps, products, weights = found
    (tmp_path / "weights.py").write_text(fitting.module_text(*found))
    model = runpy.run_path(str(tmp_path / "weights.py"))["MODEL"]
    heard = invented()
    clues = heard.clues.astype(float)
    exact = weights[0] + fitting.unweighted(steps, products).columns(clues) @ weights[1:]
    left_out = np.abs(weights[1:])[np.abs(weights[1:]) <= fitting.SMALLEST].sum()
    assert np.abs(model.log_odds(clues) - exact).max() <= left_out + 0.0005 * weights.size
    odds = model.log_odds(clues)[::LINES_A_HOP]
    assert np.mean(odds[heard.ringing == 1] > 0) > 0.95 and np.mean(odds[heard.ringing == 0] < 0) > 0.95


def test_folders_are_joined(tmp_path):
    folders = [tmp_path / "one", tmp_path / "other"]
    for folder, seed in zip(folders, (4, 6), strict=True):
        corpus.draw(folder, "S", seed, 1)
    heard = fitting.gathered(folders, [1.0, 0.5])
    assert list(heard.worth) == [1.0, 0.5]
    assert set(heard.case) == {0, 1} and set(heard.ringing) == {-1, 0, 1}
    assert np.all(np.diff(heard.case) >= 0) and np.all(np.diff(heard.hop) >= 0)
    assert heard.clues.shape == (heard.hop.size, len(CLUES)) and heard.ringing.shape == heard.case.shape
    ringing_lines = np.isin(heard.hop, np.flatnonzero(heard.ringing == 1))
    over_comb = heard.clues[:, CLUES.index("over_comb_db")]
    assert over_comb[ringing_lines].max() > 0  # both ring well over their comb


def test_the_command_writes_what_is_fitted(found, tmp_path, monkeypatch):
    asked = []
    monkeypatch.setattr(
        fitting,
        "gathered",
        lambda folders, worth: asked.extend(zip(folders, worth, strict=True)) or invented(),
    )
    given = vars(
        commands().parse_args(
            ["fit", "one", "other", "--worth", "1", "0.5", "--out", str(tmp_path / "weights.py")]
        )
    )
    assert given.pop("command") == "fit"
    fitting.fit(**given)
    assert asked == [("one", 1.0), ("other", 0.5)]
    assert (tmp_path / "weights.py").read_text() == fitting.module_text(*found)


def test_nothing_to_fit_to_is_said(tmp_path):
    with pytest.raises(SettingError, match="nothing to fit"):
        fitting.gathered([tmp_path], [1.0])


def test_cases_that_weigh_nothing_say_nothing(found):
    heard = invented()
    loud = fitting.Hops(
        clues=np.concatenate((heard.clues, heard.clues)),
        hop=np.concatenate((heard.hop, heard.hop + HOPS)),
        ringing=np.concatenate((heard.ringing, np.where(heard.ringing < 0, -1, 1 - heard.ringing))),
        case=np.concatenate((heard.case, heard.case + CASES)),
        worth=np.concatenate((np.ones(CASES), np.zeros(CASES))),
    )
    # the second half says the opposite of the first; scaling differs by the mean of the weights alone
    assert weights_of("over_comb_db", fitting.fitted(loud)).sum() > 0.5


def test_a_worth_for_each_folder_or_none():
    with pytest.raises(SettingError, match="do not fit 2 folders"):
        fitting.fit(["one", "other"], worth=[1.0])
