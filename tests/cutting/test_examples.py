"""The examples in the docstrings give what they say."""

import doctest

import pytest

from shopmon.cutting import chips, geometry, nouns, power
from shopmon.cutting.advising import mode_text
from shopmon.cutting.finishing import marks as finish
from shopmon.cutting.finishing import smooth_depths

MODULES = (chips, finish, geometry, mode_text, nouns, power, smooth_depths)


@pytest.mark.parametrize("module", MODULES, ids=lambda module: module.__name__)
def test_examples(module):
    failed, tried = doctest.testmod(module)
    assert tried > 0 and failed == 0
