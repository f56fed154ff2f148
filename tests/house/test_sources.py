"""What a page points to is there: its sources in the bibliography, its links in the repository."""

import re
from pathlib import Path

import pytest

_ROOT = Path(__file__).parents[2]
_PAGES = sorted({*_ROOT.glob("*.md"), *(_ROOT / "docs").rglob("*.md")})
_KEYS = re.findall(r"^@\w+\{([^,\s]+),", (_ROOT / "docs" / "references.bib").read_text(), re.MULTILINE)


def _anchors(page):
    """Where a page can be pointed into: its headings, as they are made into addresses."""
    headings = re.findall(r"^#+ (.+)$", page.read_text(), re.MULTILINE)
    return {re.sub(r"[^\w -]", "", heading.lower()).replace(" ", "-") for heading in headings}


def test_the_bibliography_names_each_source_once():
    """No two entries have the same key, so that a citation means one source."""
    assert _KEYS
    assert sorted({key for key in _KEYS if _KEYS.count(key) > 1}) == []


@pytest.mark.parametrize("page", _PAGES, ids=lambda page: str(page.relative_to(_ROOT)))
def test_what_a_page_cites_is_in_the_bibliography(page):
    """Each source that a page cites has its entry."""
    cited = {key for group in re.findall(r"\[(@[^\]]+)\]", page.read_text()) for key in re.findall(r"@([\w-]+)", group)}
    assert sorted(cited - set(_KEYS)) == []


@pytest.mark.parametrize("page", _PAGES, ids=lambda page: str(page.relative_to(_ROOT)))
def test_the_links_of_a_page_lead_somewhere(page):
    """Each link into the repository leads to a file or folder, and to a heading of it where one is named."""
    prose = re.sub(r"^```.*?^```$", "", page.read_text(), flags=re.MULTILINE | re.DOTALL)
    links = [link for link in re.findall(r"\]\(([^)\s]+)\)", prose) if "://" not in link]
    dead = []
    for link in links:
        name, _, anchor = link.partition("#")
        target = (page.parent / name).resolve() if name else page
        if not target.exists() or (anchor and anchor not in _anchors(target)):
            dead.append(link)
    assert dead == []
