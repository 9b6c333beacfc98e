"""Django's name for this room."""

from __future__ import annotations

from django.apps import AppConfig
from django.utils.translation import gettext

from drydown.words import speak

__all__ = ["DeskConfig"]


class DeskConfig(AppConfig):
    """Pages."""

    name = "drydown.desk"
    label = "desk"

    def ready(self) -> None:
        """Sentences of the rooms below are said in the language of whoever asks."""
        speak(gettext)
