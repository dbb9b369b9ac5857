"""Two cuts beside each other, as a page."""

import pytest

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
