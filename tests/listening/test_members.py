"""Which member of a family is told as the chatter frequency."""

from types import SimpleNamespace

import pytest

from shopmon.listening.chatter.members import add_member, member_to_tell
from shopmon.listening.chatter.strays import Track

ROTATION_HZ, FLUTES = 100.0, 3


def scene(flutes=FLUTES):
    return SimpleNamespace(
        comb=SimpleNamespace(rotation_hz=ROTATION_HZ),
        window=SimpleNamespace(duration_s=0.4),
        doubt=7e-4,
        flutes=flutes,
    )


def line(frequency_hz, level_db, *, margin_db=10.0, misses=0):
    return Track(
        frequency_hz=frequency_hz,
        power=10 ** (level_db / 10),
        margin_db=margin_db,
        since_sample=0,
        misses=misses,
    )


def told(worst, kin, tracks, flutes=FLUTES):
    return member_to_tell(worst, kin, tracks, scene(flutes)).frequency_hz


def test_the_strongest_line_at_tooth_passing_distance_is_told():
    family = [line(1537.0, -30), line(1237.0, -34), line(1837.0, -40), line(337.0, -50)]
    assert told(family[2], family, family) == 1537.0


def test_a_neighbour_that_runout_made_is_not_told_though_it_is_a_little_stronger():
    family = [line(1537.0, -30), line(1237.0, -31), line(1837.0, -33)]
    neighbour = line(1437.0, -29)
    lines = [neighbour, *family]
    assert told(neighbour, lines, lines) == 1537.0
    assert told(neighbour, lines, lines, flutes=None) == 1437.0


def test_a_member_that_sounds_at_its_mirrored_frequency_counts_for_the_family():
    # 1537 - 6 x 300 = -263
    lines = [line(1437.0, -29.5), line(1537.0, -30), line(263.0, -30)]
    assert told(lines[0], lines, lines) == 1537.0


def test_of_lines_from_before_the_cut_only_relatives_are_told():
    worst, before, stranger = line(1837.0, -45), line(1537.0, -30), line(1500.0, -20)
    assert told(worst, [worst], [stranger, before, worst]) == 1537.0


def test_a_relative_of_an_overtone_leads_to_the_line_itself():
    itself, twice, beside = line(1437.0, -20), line(2874.0, -45), line(3174.0, -44)
    assert told(beside, [beside, twice], [itself, twice, beside]) == 1437.0


@pytest.mark.parametrize("faint", [{"margin_db": -1.0}, {"misses": 1}])
def test_what_is_not_heard_now_is_not_told(faint):
    lines = [line(1537.0, -30, **faint), line(1237.0, -34)]
    assert told(lines[1], lines, lines) == 1237.0


def test_one_loud_hop_of_a_neighbour_does_not_rename_the_chatter():
    heard = []
    for hz in (1500.0, 1501.0, 1502.0):
        assert add_member(heard, hz, 1.0) == pytest.approx(hz, abs=1.0)
    assert add_member(heard, 1600.0, 2.5) == pytest.approx(1501.0, abs=0.5)
    assert add_member(heard, 1600.0, 2.5) == pytest.approx(1600.0)
