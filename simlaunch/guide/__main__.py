"""Rewrites the pages of the guide that are made from tables of the package: `python -m simlaunch.guide`."""

from __future__ import annotations

from pathlib import Path

from simlaunch.guide.made import made

for subject, text in made().items():
    Path(__file__).with_name(f"{subject}.md").write_text(text, encoding="utf-8")
