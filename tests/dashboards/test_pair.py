"""Two cuts beside each other, as a page."""

from dataclasses import replace

import numpy as np
import pytest

from shopmon.cutting.program.steps import StepPair, Warp
from shopmon.service.programs.runs import ByProgram

FIRST, SECOND = (f"00000000-0000-0000-0000-00000000000{number}" for number in (2, 3))


def test_another_cut_is_chosen_and_laid_over(client):
    page = client.get(f"/cuts/pair?first={FIRST}").get_data(as_text=True)
    assert f'value="{SECOND}"' in page and f'value="{FIRST}"' in page and "One over the other" not in page
    page = client.get(f"/cuts/pair?first={FIRST}&second={SECOND}").get_data(as_text=True)
    assert "of their time in metal" in page and page.count("<svg viewBox") == 2
    assert "Only in the second" in page and "Level per order" in page


def test_a_cut_beside_itself_shares_everything(client):
    page = client.get(f"/cuts/pair?first={FIRST}&second={FIRST}").get_data(as_text=True)
    assert "They share 100 %" in page


@pytest.mark.parametrize(
    "query", ["", "first=none", f"first={FIRST}&second=none", "first=../../x", "first=%00"]
)
def test_there_must_be_two_cuts(client, query):
    assert client.get(f"/cuts/pair?{query}").status_code in (400, 404)


@pytest.fixture
def followed(monitor, monkeypatch):
    """Act as if both cuts were of one section; the second stood for 4 s in its second step."""
    pairs = (
        StepPair(0, (11.0, 15.0), (11.0, 16.0), 0.0, 0.0),
        StepPair(2, (16.0, 22.0), (17.5, 29.0), 0.0, 4.0),
    )
    second_s = np.array([11.0, 16.0, 17.5, 21.0, 25.0, 29.0])
    warp = Warp(second_s, np.array([11.0, 15.0, 16.0, 18.8, 18.8, 22.0]), pairs)
    plain = monitor.side_by_side

    def with_program(first_id, second_id):
        return replace(plain(first_id, second_id), by_program=ByProgram("a <b>.nc", "1 of 3: T2", 4, warp))

    monkeypatch.setattr(monitor, "side_by_side", with_program)


def test_two_cuts_of_a_program_lie_by_its_steps(client, followed):
    page = client.get(f"/cuts/pair?first={FIRST}&second={SECOND}").get_data(as_text=True)
    assert "2 of its 4 steps were heard in both" in page and "a &lt;b&gt;.nc" in page and "<b>.nc" not in page
    assert "The second stood 4.0\u00a0s in step 3." in page and page.count('class="stand"') == 1
    assert "stood 4.0" in page and "× 1.25" in page and 'value="program" selected' in page
    assert "is moved by" not in page


def test_they_can_be_laid_by_the_cutting_instead(client, followed):
    page = client.get(f"/cuts/pair?first={FIRST}&second={SECOND}&by=cutting").get_data(as_text=True)
    assert "is moved by" in page and 'value="cutting" selected' in page and 'class="stand"' not in page


def test_why_they_cannot_be_laid_by_steps_is_said(client, monitor, monkeypatch):
    plain = monitor.side_by_side
    why = ByProgram("a.nc", "1 of 3: T2", why_not="No step of the program was heard in both of them.")
    monkeypatch.setattr(monitor, "side_by_side", lambda *ids: replace(plain(*ids), by_program=why))
    page = client.get(f"/cuts/pair?first={FIRST}&second={SECOND}&by=program").get_data(as_text=True)
    assert "No step of the program was heard in both" in page and 'name="by"' not in page
