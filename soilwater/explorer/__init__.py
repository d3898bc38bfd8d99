"""A page to move depth, demand, day and rod on, and see the water move, in any browser.

The page is one HTML file that needs neither Python nor a network: it carries runs of the library on
a lattice of depths and demands, and reads between them.

Needs matplotlib and jinja2: ``python -m pip install "soilwater[report]"``.
"""

from soilwater.explorer.make import explore
from soilwater.explorer.page import ExplorerPage

__all__ = ["ExplorerPage", "explore"]
