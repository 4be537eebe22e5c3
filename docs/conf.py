"""How the documentation is built: from this tree alone, nothing fetched, warnings are errors."""

from __future__ import annotations

import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE / "_ext"))
sys.path.insert(0, str(HERE.parent / "src"))

import rimwright  # noqa: E402

project = "Rimwright"
version = release = rimwright.__version__
language = "en"

extensions = [
    "myst_parser",
    "numpydoc",
    "sphinx.ext.autodoc",
    "mathml",
    "evidence_pages",
    "api_pages",
    "command_page",
    "document_page",
    "nothing_from_outside",
]
exclude_patterns = ["_build", "_ext", "decisions/README.md"]
templates_path = ["_templates"]
nitpicky = False

myst_enable_extensions = ["attrs_inline", "colon_fence", "deflist", "dollarmath"]
myst_heading_anchors = 3
myst_links_external_new_tab = False

autodoc_member_order = "bysource"
autodoc_typehints = "signature"
autodoc_preserve_defaults = True
numpydoc_show_class_members = False
numpydoc_class_members_toctree = False

html_theme = "basic"
html_theme_options = {"globaltoc_maxdepth": 2}
html_math_renderer = "mathml"
html_static_path = ["_static"]
html_css_files = ["rimwright.css"]
html_title = f"Rimwright {version}"
html_short_title = "Rimwright"
html_show_sphinx = False
html_show_copyright = False
html_copy_source = False
html_show_sourcelink = False
html_use_index = True
html_sidebars = {"**": ["wordmark.html", "searchbox.html", "globaltoc.html"]}
pygments_style = "friendly"
