"""Pictures in a notebook: the first one must not turn off those that follow."""

import os
import subprocess
import sys

# A backend that turns interactive drawing on when it is first used, as notebooks have them.
BACKEND = """
import matplotlib
from matplotlib.backends.backend_agg import *
matplotlib.interactive(True)
"""
CELL = """
import matplotlib
import soilwater as sw
sw.plot.retention(sw.VanGenuchten(0.05, 0.40, 0.047, 3.0, 40.0))
print(matplotlib.is_interactive())
"""


def test_a_picture_leaves_the_notebook_drawing(tmp_path):
    (tmp_path / "notebook_backend.py").write_text(BACKEND, encoding="utf-8")
    environment = os.environ | {
        "MPLBACKEND": "module://notebook_backend",
        "PYTHONPATH": str(tmp_path),
    }
    ran = subprocess.run(
        [sys.executable, "-c", CELL], env=environment, capture_output=True, text=True, check=True
    )
    assert ran.stdout.split()[-1] == "True"
