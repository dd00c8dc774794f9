"""The documentation builds without a warning, and without the internet it reads the same."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
import tree


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("site")
    done = subprocess.run(
        [sys.executable, "-m", "mkdocs", "build", "--strict", "--quiet", "--site-dir", str(folder)],
        cwd=tree.ROOT,
        env=os.environ | {"NO_MKDOCS_2_WARNING": "1"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return folder


def test_every_page_is_there(site: Path) -> None:
    pages = {p.relative_to(tree.ROOT / "docs") for p in (tree.ROOT / "docs").rglob("*.md")}
    assert pages
    assert not [page for page in pages if not (site / page).with_suffix(".html").is_file()]


def test_no_page_fetches_anything_from_another_host(site: Path) -> None:
    fetched = re.compile(
        r"""<(?:script|img|iframe|source|video|audio|embed|link|object)\b[^>]*?"""
        r"""\b(?:src|href|data|srcset)\s*=\s*["']?((?:https?:)?//[^"'\s>]+)""",
        re.I,
    )
    for page in site.rglob("*.html"):
        assert not fetched.findall(page.read_text(encoding="utf-8")), page.name
    for sheet in site.rglob("*.css"):
        text = sheet.read_text(encoding="utf-8")
        assert not re.findall(r"(?:url\(|@import)\s*[\"']?(?:https?:)?//", text), sheet.name


def test_pages_link_to_other_hosts_only_for_the_licence(site: Path) -> None:
    allowed = ("https://www.apache.org/licenses/",)
    for page in site.rglob("*.html"):
        links = re.findall(r'<a\b[^>]*?\bhref="(https?://[^"]+)"', page.read_text(encoding="utf-8"))
        assert not [link for link in links if not link.startswith(allowed)], page.name
