"""The staircase of screens: blocks to scale, the last ends at the whole."""

from __future__ import annotations

from itertools import pairwise

from drydown.desk.stairs import BOTTOM, TOP, stairs


def test_each_step_is_as_high_as_its_share() -> None:
    """12, 28, 31, 19, 7 and 3 in the hundred, as a sieving is written down."""
    rows = [("18", 12.0), ("17", 28.0), ("16", 31.0), ("15", 19.0), ("14", 7.0), ("pan", 3.0)]
    found = stairs(rows)
    for step, (_name, held) in zip(found, rows, strict=True):
        assert abs((step.low - step.high) / (BOTTOM - TOP) * 100 - held) < 1e-9
    assert found[0].low == BOTTOM
    assert abs(found[-1].high - TOP) < 1e-9
    assert all(a.high == b.low and a.x + a.width == b.x for a, b in pairwise(found))
    assert stairs([]) == []
