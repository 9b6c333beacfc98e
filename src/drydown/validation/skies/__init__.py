"""Is generated weather like measured weather? Statistics of both, site by site, held inside stated marks."""
