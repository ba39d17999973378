"""Sphinx settings: plain pages, warnings are errors in the build command, nothing fetched from elsewhere."""

import sys
from pathlib import Path

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))

project = "Brimline"
author = "The Brimline developers"
extensions = ["myst_parser"]
myst_enable_extensions = ["dollarmath", "deflist", "attrs_inline"]
myst_heading_anchors = 3
exclude_patterns = ["_build"]
html_theme = "furo"
html_title = "Brimline"
suppress_warnings = ["myst.xref_missing"]


def write_generated(_app):
    """Write the scene-file reference from the models and the validation page from its rows: page and program cannot differ."""
    sys.path.insert(0, str(ROOT / "docs"))
    from validation_rows import page as validation_page

    from scenes.scene_file.reference_page import scene_file_reference

    for name, text in (("scene-file.md", scene_file_reference()), ("validation.md", validation_page())):
        page = ROOT / "docs" / name
        if not page.exists() or page.read_text(encoding="utf-8") != text:
            page.write_text(text, encoding="utf-8")


def setup(app):
    """Generate what is generated before the pages are read."""
    app.connect("builder-inited", write_generated)
