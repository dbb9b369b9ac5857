"""What the person wishes of the listener is kept with its history and counts at once."""

import numpy as np
import pytest

from shopmon.errors import SettingError
from shopmon.records.archive import Archive
from shopmon.service.wishes import KEY, Wishes


@pytest.fixture
def archive(tmp_path):
    archive = Archive.open(tmp_path / "data", budget_bytes=10**9, buffer_s=0)
    yield archive
    archive.close()


def test_every_change_is_kept_and_the_newest_counts(archive):
    used = []
    wishes = Wishes(archive, lambda: used.append(1))
    wishes.accept_false_alarms(0.5)
    entry = wishes.reject(frequency_hz=1432.6)
    wishes.reject(order=0.62)
    wishes.remove(entry["id"])
    archive.flush(filing=False)
    assert len(archive.value_history(KEY)) == len(used) == 4
    again = Wishes(archive, lambda: None)
    assert again.now == wishes.now
    assert again.now.false_alarms_per_hour == 0.5
    assert [tone.order for tone in again.now.rejected] == [0.62]


def test_a_learned_tone_that_is_removed_is_heeded_until_believed_again(archive):
    wishes = Wishes(archive, lambda: None)
    wishes.remove("50.0-hz")
    wishes.remove("50.0-hz")
    assert wishes.now.heeded_hz == (50.0,)
    wishes.believe("50.0-hz")
    assert wishes.now.heeded_hz == ()


@pytest.mark.parametrize("heard_hz", [2000.0, 1994.5, 2005.5])
def test_a_heeded_tone_is_believed_wherever_the_list_shows_it(archive, heard_hz):
    wishes = Wishes(archive, lambda: None)
    wishes.remove("2000.0-hz")
    assert wishes.now.is_heeded(np.array(heard_hz)), "so the list marks what is heard there"
    wishes.believe(f"{heard_hz:.1f}-hz")
    assert wishes.now.heeded_hz == ()


def test_a_heeded_tone_that_is_rejected_is_heeded_no_longer(archive):
    wishes = Wishes(archive, lambda: None)
    wishes.remove("2000.0-hz")
    wishes.reject(order=12.0)
    assert wishes.now.heeded_hz == (2000.0,)
    wishes.reject(frequency_hz=2000.03)
    assert wishes.now.heeded_hz == ()


def test_rejecting_the_same_tone_twice_is_once(archive):
    wishes = Wishes(archive, lambda: None)
    assert wishes.reject(frequency_hz=1432.61)["id"] == wishes.reject(frequency_hz=1432.58)["id"]
    assert len(wishes.now.rejected) == 1


def test_a_family_stands_in_place_of_its_tone_and_is_taken_off_like_one(archive):
    wishes = Wishes(archive, lambda: None)
    wishes.reject(frequency_hz=1432.6)
    entry = wishes.reject(frequency_hz=1432.6, family=True)
    assert entry == {"id": "1432.6-hz-family", "frequency_hz": 1432.6, "family": True, "only_with": ""}
    assert [tone.family for tone in wishes.now.rejected] == [True]
    assert wishes.now.is_rejected(np.array([1432.6, 1832.6, 1700.0]), 200.0).tolist() == [True, True, False]
    archive.flush()
    assert Wishes(archive, lambda: None).now == wishes.now, "it is kept"
    wishes.remove(entry["id"])
    assert wishes.now.rejected == ()


def test_a_tone_may_be_rejected_with_some_tools_and_with_all(archive):
    wishes = Wishes(archive, lambda: None)
    first = wishes.reject(frequency_hz=1432.6, only_with="plum #3, ER20, 38 mm out")
    second = wishes.reject(frequency_hz=1432.6, family=True, only_with="plum #4, ER20, 38 mm out")
    assert first["only_with"] == "plum #3, ER20, 38 mm out" and first["id"] != second["id"]
    assert len(wishes.now.rejected) == 2
    archive.flush()
    assert Wishes(archive, lambda: None).now == wishes.now, "it is kept"
    wishes.remove(first["id"])
    assert [tone.only_with for tone in wishes.now.rejected] == ["plum #4, ER20, 38 mm out"]
    wishes.reject(frequency_hz=1432.6)
    assert [tone.only_with for tone in wishes.now.rejected] == [""]


@pytest.mark.parametrize(
    "call",
    [
        lambda w: w.reject(),
        lambda w: w.reject(frequency_hz=100, order=1),
        lambda w: w.reject(frequency_hz="loud"),
        lambda w: w.reject(frequency_hz=True),
        lambda w: w.reject(frequency_hz=1e9),
        lambda w: w.reject(order=float("inf")),
        lambda w: w.reject(order=1.0, only_with=3),
        lambda w: w.reject(order=1.0, only_with="x" * 301),
        lambda w: w.remove("nothing"),
        lambda w: w.remove("x-hz"),
        lambda w: w.accept_false_alarms(0),
        lambda w: w.accept_false_alarms("often"),
    ],
)
def test_what_cannot_be_is_refused_with_something_to_do(archive, call):
    wishes = Wishes(archive, lambda: None)
    with pytest.raises(SettingError) as caught:
        call(wishes)
    assert caught.value.hint and archive.value(KEY) is None
