"""What a browser sees of the documents of a package: measured once, asserted on by many tests."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

from playwright.sync_api import BrowserContext, Page

MEASURE = Path(__file__).with_name("measure.js").read_text("utf-8")
# A phone; a screen; half of a screen, last: there axe-core sees most that has to be scrolled.
SIZES = {390: 844, 1280: 900, 800: 1000}
RULES = ["wcag2a", "wcag2aa", "best-practice"]


@dataclass(frozen=True)
class Seen:
    """One document; what is wrong is named by lines of text, by width of the window in pixels."""

    title: str
    heading: str
    headings: list[str]
    barriers: list[str]
    cut: dict[str, list[str]]
    sideways: dict[str, list[str]]
    headless: dict[str, list[str]]
    scripts: list[str]
    requests: list[str]


def surveyed(context: BrowserContext, folder: Path, prints: Path) -> dict[str, Seen]:
    """Look at each HTML document below a folder, and print it to PDF into another one."""
    found = {}
    for path in sorted(folder.rglob("*.html")):
        name = str(path.relative_to(folder))
        page = context.new_page()
        found[name] = _seen(page, path, folder)
        target = prints / f"{name}.pdf"
        target.parent.mkdir(parents=True, exist_ok=True)
        page.pdf(path=target, prefer_css_page_size=True)
        page.close()
    return found


def _seen(page: Page, path: Path, folder: Path) -> Seen:
    requests: list[str] = []
    page.on("request", lambda request: requests.append(request.url))
    page.goto(path.as_uri())
    measures: dict[str, dict[str, list[str]]] = {"cut": {}, "sideways": {}, "headless": {}}
    for width, height in SIZES.items():
        page.set_viewport_size({"width": width, "height": height})
        for what, by_width in measures.items():
            by_width[str(width)] = _measured(page, f"{what}()")
    below = folder.as_uri() + "/"
    return Seen(
        title=page.title(),
        heading=" ".join(_measured(page, "texts('h1')")),
        headings=_measured(page, "texts('h2, h3, h4, h5, h6, caption, figcaption')"),
        scripts=_measured(page, "scripts()"),
        requests=[url for url in requests if not url.startswith(below)],
        barriers=_barriers(page),
        **measures,
    )


def _measured(page: Page, call: str) -> list[str]:
    found: list[str] = page.evaluate(f"() => {MEASURE.strip()}.{call}")
    return found


def _barriers(page: Page) -> list[str]:
    """Return what axe-core objects to: rule, what it asks, and where."""
    page.evaluate(files("axe_playwright_python").joinpath("axe.min.js").read_text("utf-8") + ";0")
    found: Mapping[str, Any] = page.evaluate(
        "rules => axe.run(document, {runOnly: rules, resultTypes: ['violations']})", RULES
    )
    return [
        f"{rule['id']}: {rule['help']}: {node['target'][0]}"
        for rule in found["violations"]
        for node in rule["nodes"]
    ]
