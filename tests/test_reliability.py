"""The table that holds how sure alarms were said to be against how many were right."""

from tests.bench.detector.reliability import is_right, lines


def test_alarms_are_counted_where_they_were_said_to_be_as_sure():
    said = [(0.8, False), (0.8, True), *[(0.95, True)] * 9, (0.95, False)]
    table = [line.split() for line in lines(said)]
    assert [row[:6] for row in table] == [
        ["0.00", "to", "0.85", "2", "0.800", "0.500"],
        ["0.93", "to", "0.97", "10", "0.950", "0.900"],
        ["0.00", "to", "1.00", "12", "0.925", "0.833"],
    ]


def test_an_alarm_is_right_while_it_rings_and_just_after():
    chatter = [{"start_s": 2.0, "end_s": 3.0}]
    assert [is_right(at_s, chatter) for at_s in (1.8, 1.9, 2.5, 3.9, 4.1)] == [False, True, True, True, False]
    assert not is_right(2.0, [])
