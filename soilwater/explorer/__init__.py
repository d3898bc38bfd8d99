"""Pages to move things on, and see the water move, in any browser.

Each page is one HTML file that needs neither Python nor a network. `explore` carries runs of the
library on a lattice of depths and demands, and reads between them; `explore_ground` carries one run
of a line or a green.

Needs matplotlib and jinja2: ``python -m pip install "soilwater[report]"``.
"""

from soilwater.explorer.ground import explore_ground
from soilwater.explorer.html import ExplorerPage
from soilwater.explorer.make import explore

__all__ = ["ExplorerPage", "explore", "explore_ground"]
