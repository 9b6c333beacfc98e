"""The colours of pages and pictures, in one place; the style sheet's variables are the same ones."""

from __future__ import annotations

__all__ = ["AHEAD", "HUE", "MID", "PAPER"]

PAPER, HUE, AHEAD, MID = "#fdfcfd", "#4a2560", "#c9b6d8", "#7b5796"
