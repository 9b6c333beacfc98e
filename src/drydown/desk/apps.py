"""Django's name for this room."""

from __future__ import annotations

from django.apps import AppConfig

__all__ = ["DeskConfig"]


class DeskConfig(AppConfig):
    """Pages."""

    name = "drydown.desk"
    label = "desk"
