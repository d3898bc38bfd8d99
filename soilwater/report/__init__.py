"""What leaves the desk: one page for a committee, and a card for the crew.

Each is one HTML file that needs nothing from elsewhere and no scripts. The page prints on one sheet
of A4 or US letter, with a back where it needs one, and says nothing that the survey, diagnosis,
outlook and plan do not say; the card has a line for each spot to water.

Needs matplotlib and jinja2: ``python -m pip install "soilwater[report]"``.
"""

from soilwater.report.card import crew_card, morning_card
from soilwater.report.page import report

__all__ = ["crew_card", "morning_card", "report"]
