"""Charts are drawn while another thread loads what the charting library looks at."""

from __future__ import annotations

import subprocess
import sys

TRIED = """
import importlib.abc, sys, threading, time
import altair

class Slow(importlib.abc.MetaPathFinder):
    def find_spec(self, name, path, target=None):
        if name == "pandas.core.api":  # half way through pandas
            half.set()
            time.sleep(0.5)
        return None

half = threading.Event()
sys.meta_path.insert(0, Slow())
from drydown.desk.chart import charting
other = threading.Thread(target=__import__, args=("pandas",))
other.start()
half.wait(60)
alt = charting()
print(alt.X("x:Q", scale=alt.Scale(domain=[0, 1])).to_dict())
other.join()
"""


def test_a_chart_is_drawn_while_another_page_loads_pandas() -> None:
    made = subprocess.run([sys.executable, "-c", TRIED], capture_output=True, text=True, check=False)
    assert made.returncode == 0, made.stderr[-1500:]
    assert "domain" in made.stdout
