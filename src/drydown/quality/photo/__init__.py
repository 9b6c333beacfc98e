"""Bean size from a photo: beans on a plain sheet beside a card of known size."""

from drydown.quality.photo.beans import Bean
from drydown.quality.photo.measure import HONEST, Photo, measure_photo
from drydown.quality.photo.picture import read_picture
from drydown.quality.photo.sizes import ColourSummary, PhotoScreens, colour_summary, photo_screens

__all__ = [
    "HONEST",
    "Bean",
    "ColourSummary",
    "Photo",
    "PhotoScreens",
    "colour_summary",
    "measure_photo",
    "photo_screens",
    "read_picture",
]
