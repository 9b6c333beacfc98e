"""Broken beans of a huller as a term of the grade."""

from __future__ import annotations

import pytest

from drydown.errors import InputError
from drydown.quality.broken import broken_in_sample, huller
from drydown.quality.scheme import scheme


def test_broken_of_a_huller_by_hand() -> None:
    # SNI 01-2907-2008: 300 g, broken 1/5. Jember thesis: a small rotary huller broke 6 %: 18 g, halves of a
    # bean of 0.155 g: 232 pieces, 46 full defects.
    found = broken_in_sample(huller("small rotary"), scheme("sni-2008"))
    assert found is not None
    assert found.value == pytest.approx(46.4, abs=0.2)
    assert found.low < found.value < found.high
    better = broken_in_sample(huller("Cross-beater"), scheme("sni-2008"))
    assert better is not None
    assert better.value < found.value


def test_a_huller_nobody_knows_is_a_sentence() -> None:
    with pytest.raises(InputError, match="not known"):
        huller("laser")
