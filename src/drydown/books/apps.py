"""Django's name for this room."""

from __future__ import annotations

from django.apps import AppConfig

__all__ = ["BooksConfig"]


class BooksConfig(AppConfig):
    """Records of the station."""

    name = "drydown.books"
    label = "books"
    default_auto_field = "django.db.models.BigAutoField"
