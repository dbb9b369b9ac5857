"""The slow lane: answers once, newest questions, failures told, an end that does not hang."""

import threading

import pytest

from shopmon.errors import SettingError
from shopmon.service.thinking import Failed, Thinker


@pytest.fixture
def thinker():
    thinker = Thinker(waiting=3, remembered=2)
    yield thinker
    thinker.close()


def held(thinker) -> threading.Event:
    """Keep the thread busy until the event is set."""
    begun, gate = threading.Event(), threading.Event()
    thinker.do("hold", lambda: (begun.set(), gate.wait(20)))
    assert begun.wait(20)
    return gate


def test_an_answer_is_found_once_and_remembered(thinker):
    asked = []

    def work():
        asked.append(1)
        return "answer"

    assert thinker.ask("q", work) is None
    assert thinker.wait()
    assert thinker.ask("q", work) == "answer"
    assert asked == [1]


def test_the_same_question_waits_once_and_the_urgent_goes_first(thinker):
    gate, order = held(thinker), []
    for _ in range(3):
        thinker.ask("a", lambda: order.append("a") or 1)
    thinker.ask("b", lambda: order.append("b") or 1, urgent=True)
    gate.set()
    assert thinker.wait()
    assert order == ["b", "a"]


def test_questions_are_forgotten_before_tasks_when_too_many_wait(thinker):
    gate, order = held(thinker), []
    thinker.do("learn", lambda: order.append("learn"))
    for name in "abc":
        thinker.ask(name, lambda name=name: order.append(name) or 1)
    gate.set()
    assert thinker.wait()
    assert order == ["learn", "b", "c"]


def test_only_so_many_answers_are_kept(thinker):
    for name in "abc":
        thinker.ask(name, lambda name=name: name)
        assert thinker.wait()
    assert [thinker.ask(name, lambda: "new") for name in "bc"] == ["b", "c"]
    assert thinker.ask("a", lambda: "again") is None


def test_what_fails_says_so_and_the_next_is_thought_about(thinker):
    def refuse():
        raise SettingError("No.", "Say it otherwise.")

    def break_down():
        raise ZeroDivisionError

    for name, work in (("refused", refuse), ("broken", break_down)):
        thinker.ask(name, work)
        assert thinker.wait()
        answer = thinker.ask(name, work)
        assert isinstance(answer, Failed)
        assert answer.text and answer.hint
    thinker.ask("fine", lambda: 1)
    assert thinker.wait()
    assert thinker.ask("fine", lambda: 1) == 1


def test_closing_drops_what_waits_and_may_be_done_twice(thinker):
    gate, done = held(thinker), []
    thinker.ask("late", lambda: done.append(1) or 1)
    gate.set()
    thinker.close()
    thinker.close()
    assert thinker.ask("q", lambda: 1) is None
    assert not thinker._thread.is_alive()
    assert len(done) <= 1
