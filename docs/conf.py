"""How the documentation is built.

``python -m sphinx -W --keep-going -b html docs docs/_build/html``: no network is needed, warnings
are errors, and every picture and number is made by running the code.
"""

import os
import sys
from pathlib import Path

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE))

import made_at_build  # noqa: E402

import soilwater  # noqa: E402

project = "soilwater"
author = "the soilwater authors"
version = release = soilwater.__version__
project_copyright = author

extensions = [
    "myst_nb",
    "numpydoc",
    "sphinx.ext.autodoc",
    "sphinx.ext.autosummary",
    "sphinx.ext.intersphinx",
]
templates_path = ["_templates"]
exclude_patterns = ["_build", "examples/data", "**.ipynb_checkpoints"]

# Pages that are not kept: the notebooks of ../examples, and tables that the code itself holds.
made_at_build.make_pages(HERE)

# Kernels of the notebooks inherit this; a plain backend set for tests would show no pictures.
os.environ["MPLBACKEND"] = "module://matplotlib_inline.backend_inline"
nb_execution_mode = "force"
nb_execution_timeout = 300
nb_execution_raise_on_error = True
nb_execution_show_tb = True
nb_merge_streams = True
nb_render_markdown_format = "myst"
myst_enable_extensions = ["colon_fence", "deflist"]
myst_heading_anchors = 3

default_role = "py:obj"
autosummary_generate = True
autodoc_typehints = "none"
autodoc_member_order = "bysource"
numpydoc_show_class_members = False
numpydoc_class_members_toctree = False

# Links into the manuals of other libraries need their inventories, and these need a network.
intersphinx_mapping = (
    {
        "python": ("https://docs.python.org/3", None),
        "numpy": ("https://numpy.org/doc/stable", None),
        "xarray": ("https://docs.xarray.dev/en/stable", None),
        "pandas": ("https://pandas.pydata.org/docs", None),
        "matplotlib": ("https://matplotlib.org/stable", None),
    }
    if os.environ.get("SOILWATER_DOCS_LINKS") == "1"
    else {}
)

html_theme = "alabaster"
html_title = f"soilwater {release}"
html_static_path = ["_static"]
html_css_files = ["soilwater.css"]
html_show_sourcelink = False
html_theme_options = {
    "description": "Water in sand-based turf: from a lab sheet and a depth to the dry-down",
    "page_width": "1240px",
    "sidebar_width": "250px",
    "fixed_sidebar": True,
    "show_powered_by": False,
}
html_sidebars = {"**": ["about.html", "searchbox.html", "navigation.html"]}
