"""One page for a committee: what was found at a green, how sure it is, and what to do next.

The page is one HTML file that needs nothing from elsewhere and no scripts, and prints on one sheet
of A4 or US letter. It says nothing that the survey, diagnosis, outlook and plan do not say.

Needs matplotlib and jinja2: ``python -m pip install "soilwater[report]"``.
"""

from soilwater.report.page import report

__all__ = ["report"]
