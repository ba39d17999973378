"""Sphinx settings: plain pages, warnings are errors in the build command, nothing fetched from elsewhere."""

import sys
from pathlib import Path

ROOT = Path(__file__).parents[1]
sys.path[:0] = [str(ROOT), str(ROOT / "docs")]

project = "Brimline"
author = "The Brimline developers"
extensions = ["myst_parser"]
myst_enable_extensions = ["dollarmath", "deflist", "attrs_inline"]
myst_heading_anchors = 3
exclude_patterns = ["_build"]
highlight_language = "none"  # of blocks that name none: what they print is no Python
html_theme = "furo"
html_title = "Brimline"
html_static_path = ["_static"]
html_css_files = ["tables.css"]
suppress_warnings = ["myst.xref_missing"]


def write_generated(_app):
    """Write the scene-file reference, the validation page and the commands' pages: page and program cannot differ."""
    from command_pages import write_pages
    from validation_rows import page as validation_page

    from scenes.scene_file.reference_page import scene_file_reference

    for name, text in (("scene-file.md", scene_file_reference()), ("validation.md", validation_page())):
        page = ROOT / "docs" / name
        if not page.exists() or page.read_text(encoding="utf-8") != text:
            page.write_text(text, encoding="utf-8")
    write_pages(ROOT / "docs" / "commands")


def run_examples(_app, docname, _source):
    """Run the Python of the page that teaches it, so that the build fails where it would mislead."""
    from notebook_pages import can_run, run

    page = ROOT / "docs" / "python.md"
    if docname == page.stem and can_run(page):
        run(page)


def setup(app):
    """Generate what is generated before the pages are read, run what they show, and read notebooks as pages."""
    from notebook_pages import notebook_parser

    app.add_source_suffix(".ipynb", "ipynb")
    app.add_source_parser(notebook_parser())
    app.connect("builder-inited", write_generated)
    app.connect("source-read", run_examples)
