"""The weather part of `make truth`: reads measured files from the folder that DRYDOWN_MEASURED names."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
from scipy.stats import chisquare

from drydown.validation.skies.records import Record, read_folder
from drydown.validation.skies.truth import compare, known_from, lots_under, made_like, summary

FOLDER = "DRYDOWN_MEASURED"


def main() -> int:
    """Compare every record of the folder; say so in a line where there is none."""
    folder = os.environ.get(FOLDER, "")
    if not folder:
        print(f"Measured weather: {FOLDER} names no folder; generated weather is not compared.")
        return 0
    records = read_folder(Path(folder))
    print("Generated from each site's own normals, climate drawn from its spreads:")
    rows = [row for record in records for row in compare(record, made_like(record))]
    print("\n".join(summary(rows)))
    hourly = [r for r in records if r.kind == "hourly"]
    if len(hourly) > 1:
        print("\nEach hourly site with the climate learnt from the other hourly sites alone:")
        left = [
            row
            for r in hourly
            for row in compare(r, made_like(r, known_from([o for o in hourly if o is not r])))
        ]
        print("\n".join(summary(left)))
    _lots(hourly)
    return 0


def _lots(hourly: list[Record]) -> None:
    print(
        "\n| typical lots under measured weather | lots | inside P10-P90 | middle over measured "
        "| ranks in fifths | p flat |"
    )
    print("|---|---|---|---|---|---|")
    for name in ("parchment", "cherry"):
        for where in ("raised_bed", "roofed_bed", "patio"):
            found = [lots_under(r, name, where) for r in hourly]
            ranks = np.concatenate([f[0] for f in found]) if found else np.empty(0)
            if not ranks.size:
                continue
            ratio = float(np.median(np.concatenate([f[1] for f in found])))
            fifths = np.histogram(ranks, np.linspace(0.0, 1.0, 6))[0]
            inside = float(((ranks > 0.1) & (ranks < 0.9)).mean())
            p = float(chisquare(fifths).pvalue)
            print(
                f"| {name}, {where} | {ranks.size} | {100 * inside:.0f} % | {ratio:.3f} | "
                f"{fifths.tolist()} | {p:.2f} |"
            )


if __name__ == "__main__":
    raise SystemExit(main())
