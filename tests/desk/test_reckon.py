"""The Reckon page: figures of published sheets, by form."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from django.test import Client


@pytest.mark.parametrize(
    ("query", "says"),
    [
        # A university's test report: 0.75 kg in, 0.400 and 0.020 kg out in 2.74 s.
        ("act=pulper&fruit=0.75&output=0,400&unpulped=0.02&seconds=2.74", ("95", "53.3", "2.7 %", "525.5")),
        # Colombian daily price sheet of 21 Aug 2015: 0.76 x 7937 + 0.05 x 3400 = 6202.1.
        ("act=parchment&sound=7937&defective=3400&sound_percent=76&defective_percent=5", ("6 202",)),
        # Dry matter stays: 100 kg at 53 % wb are 47/0.88 = 53.4 kg at 12 %.
        ("act=mass&mass=100&before=53&after=12", ("53.4",)),
        # 12.3 % wb at 30 C is 0.720 by the isotherm of Trejos et al. 1989.
        ("act=moisture&form=parchment&species=arabica&temp=30&wb=12,3", ("0.72", "outside the rule")),
        ("act=moisture&form=parchment&species=arabica&temp=25&rh=60", ("10.9",)),
    ],
)
def test_a_reckoning_is_answered(client: Client, query: str, says: tuple[str, ...]) -> None:
    answer = client.get(f"/reckon/?{query}")
    assert answer.status_code == 200
    text = answer.content.decode()
    for words in says:
        assert words in text, words


@pytest.mark.parametrize(
    "query",
    [
        "act=moisture&form=parchment&species=arabica&temp=25",
        "act=moisture&form=parchment&species=arabica&temp=25&wb=58",
        "act=moisture&form=&species=&temp=",
        "act=pulper&fruit=1&unpulped=0",
        "act=pulper&fruit=1&unpulped=0&main=0.5",
        "act=pulper&fruit=1&unpulped=0&output=4&seconds=3",
        "act=mass&mass=1,234&before=50&after=11",
        "act=parchment&sound=1&defective=1&sound_percent=90&defective_percent=20",
    ],
)
def test_what_cannot_be_reckoned_is_a_sentence(client: Client, query: str) -> None:
    answer = client.get(f"/reckon/?{query}")
    assert answer.status_code == 400
    assert 'role="alert"' in answer.content.decode()


def test_the_page_opens_with_nothing_asked(client: Client) -> None:
    assert client.get("/reckon/").status_code == 200
    assert client.get("/reckon/?act=dance").status_code == 200
