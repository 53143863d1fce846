"""How the pages become a site to read offline: ``make docs`` writes docs/built/README.html."""

project = "pullbook"
project_copyright = "the contributors; Apache-2.0"
extensions = ["myst_parser"]
root_doc = "README"
include_patterns = [
    *("README.md", "DEVELOPERS.md", "SECURITY.md", "docs/*.md", "reports/README.md", "sample_logs/README.md"),
    "tests/outside/**.md",
]
myst_heading_anchors = 4
html_theme = "alabaster"
html_theme_options = {"nosidebar": True, "page_width": "60rem"}
html_show_sourcelink = False
# docs/README.md is the index, in words; csv in a fence is for the reader, not for colours
suppress_warnings = ["toc.not_included", "misc.highlighting_failure"]
