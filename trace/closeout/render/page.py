"""Pages made from templates: HTML with autoescape, Markdown that escapes every value."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any, NamedTuple

from closeout.model.dossier import Compliance, Dossier
from closeout.render import words
from closeout.render.dress import dressed, links_to_html
from closeout.render.numbering import (
    KEPT,
    PAGE,
    SAME,
    TEXT,
    WORDS,
    Heading,
    annex_mark,
    figure_mark,
    id_mark,
    numbered,
    reference,
    table_mark,
    unmarked,
)
from closeout.render.plain import Markup, fenced, flow, markdown, safe
from closeout.render.rows import pairs

if TYPE_CHECKING:
    from jinja2 import Environment
    from markdown_it import MarkdownIt
    from markdown_it.token import Token


_BLANK_LINES = re.compile(r"\n{3,}")
# A sentence of a docstring about an exception.
_RAISES = re.compile(r"(?s)\bRaises `*\w+Error\b.*?(?:\.(?=\s|$)|$)")
_FORMULA = "formula"
# A formula that is wider than the page scrolls; a keyboard reaches it as well.
_SCROLLS = 'class="formula" tabindex="0" role="group" aria-label="formula"'
_PICTURE = "picture"
_NO_NAME = re.compile(r"[^A-Za-z0-9_-]|(?<![A-Za-z0-9])_|_(?![A-Za-z0-9])")
_MATHML = "http://www.w3.org/1998/Math/MathML"


# A mark opens before and closes behind something that is no space and inside no word.
_MARKS = re.compile(
    r"(\*\*(?=[^\s*])[^*]+(?<=\S)\*\*|(?<![\w*])\*(?=[^\s*])[^*]+(?<=\S)\*(?![\w*])|`[^`\n]+`)"
)


@dataclass(frozen=True, slots=True)
class Face:
    """What stands on the cover of a document beside its title, and how it is printed.

    ``number`` is the package's with the document's own, None where the project names none.
    ``tall`` is printed upright, ``signed`` has lines for names, dates and signatures.
    ``applicable`` are the documents that it is held against, with their issues.
    """

    number: str | None = None
    issue: str | None = None
    date: str | None = None
    author: str | None = None
    approver: str | None = None
    tall: bool = False
    signed: bool = False
    applicable: tuple[str, ...] = ()

    @property
    def identity(self) -> tuple[str, ...]:
        """Number and issue, then date, author and approver, as far as the project names them."""
        named = (
            ("", self.number), ("issue ", self.issue), ("", self.date),
            ("author: ", self.author), ("approver: ", self.approver),
        )  # fmt: skip
        return tuple(f"{word}{text}" for word, text in named if text)


BARE = Face()


def html_page(template: str, dossier: Dossier, title: str, face: Face = BARE, **values: Any) -> str:
    """Return one self-contained page: no script, nothing loaded from elsewhere."""
    return _html().get_template(template).render(_common(dossier, title, face), **values)


def markdown_page(
    template: str, dossier: Dossier, title: str, face: Face = BARE, **values: Any
) -> str:
    """Return a Markdown document; every value in it is text, unless it is made as markup."""
    return unmarked(_markdown_text(template, dossier, title, face, bare=False, **values)[0])


def both_pages(
    template: str,
    dossier: Dossier,
    title: str,
    face: Face = BARE,
    *,
    home: str | None = "",
    **values: Any,
) -> tuple[str, str]:
    """Return a document as Markdown and as the HTML page of the same text.

    Links to .md files lead to the .html files beside them. ``home`` is the way to the folder of
    the index, None there.
    """
    text, headings = _markdown_text(template, dossier, title, face, bare=True, **values)
    parser = _parser()
    tokens = parser.parse(text)
    _let_formulas_through(tokens)
    tokens = list(links_to_html(dressed(tokens)))
    body = parser.renderer.render(tokens, parser.options, {})
    page = html_page(
        "document.html", dossier, title, face, body=_trusted(body), home=home,
        contents=[_content(one) for one in headings],
    )  # fmt: skip
    return markdown_page(template, dossier, title, face, home=home, **values), page


def _content(heading: Heading) -> dict[str, str | int]:
    """Return a line of the list of contents; the text of a heading has no markup but escapes."""
    parser = _parser()
    text = "".join(child.content for child in parser.parseInline(heading.text)[0].children or ())
    return {"level": heading.level, "number": heading.number, "text": text, "to": heading.anchor}


def _markdown_text(
    template: str, dossier: Dossier, title: str, face: Face, *, bare: bool, **values: Any
) -> tuple[str, tuple[Heading, ...]]:
    common = _common(dossier, title, face)
    text = _markdown().get_template(template).render(common, bare=bare, **values)
    text, headings = numbered(text)
    return _BLANK_LINES.sub("\n\n", text).strip("\n") + "\n", headings


def anchor_id(kind: str, identifier: str) -> str:
    """Return the name of the place where an item of a kind (R, E, W, N, A, D, P) stands.

    Letters, digits, hyphens, and underscores within a word stay; others become their code.
    """
    return f"{kind}-{_NO_NAME.sub(lambda match: f'.{ord(match[0]):x}.', identifier)}"


def link(text: str, target: str) -> Markup:
    """Return a Markdown link; ``target`` is a path of ours, its text is escaped."""
    return Markup(f"[{markdown(text)}]({target})")


def image(text: str, target: str) -> Markup:
    """Return a picture of a file; scripts in it do not run, whatever made it."""
    return Markup(f"![{markdown(text)}]({target})")


class Formula(NamedTuple):
    """A formula in both of its languages; what its author wrote in it is escaped already."""

    latex: str
    mathml: str


def _formula_block(formula: Formula | str, bare: bool) -> Markup:
    """Return a formula as a block of LaTeX, or where HTML is made of it, as what becomes MathML.

    One that is plain text is a paragraph.
    """
    if isinstance(formula, str):
        return Markup(markdown(formula))
    if bare:
        # In a page of HTML the namespace goes without saying.
        mathml = safe(formula.mathml).replace(f' xmlns="{_MATHML}"', "", 1)
        return Markup(f"```{_FORMULA}\n<div {_SCROLLS}>{mathml}</div>\n```")
    # A sign that could begin an element of HTML has a name in LaTeX.
    latex = safe(formula.latex.strip()).replace("<", r"\lt ").replace(">", r"\gt ")
    return Markup(f"$$\n{latex}\n$$")


def _picture_block(svg: str, bare: bool) -> Markup:
    """Return a picture as what becomes an element of HTML; Markdown has its numbers as a table."""
    return Markup(f"```{_PICTURE}\n{svg}\n```") if bare else Markup("")


def doc_markdown(doc: str) -> Markup:
    """Return a docstring as Markdown: paragraphs, lists, and indented blocks as they stand.

    Of what an author marks, **strong**, *emphasis* and `code` are used; all else is plain text.
    What a function raises is for who calls it, and left out.
    """
    blocks = re.split(r"\n[ \t]*\n", "\n".join(safe_doc(doc)))
    said = (_RAISES.sub("", block) for block in blocks if not block.startswith("Raises:"))
    return Markup("\n\n".join(_doc_block(block) for block in said if block.strip()))


def safe_doc(doc: str) -> list[str]:
    """Return the lines of a docstring without their common indentation, each of them safe."""
    import inspect

    return [safe(line) for line in inspect.cleandoc(doc).split("\n")]


def _doc_block(block: str) -> str:
    lines = block.strip("\n").split("\n")
    if all(line.startswith("  ") for line in lines):
        return fenced("\n".join(lines))
    parts = re.split(r"\n[ ]{0,3}[-*][ ]+", "\n" + block.strip("\n"))
    paragraph = [_marked(parts[0].strip())] if parts[0].strip() else []
    items = "\n".join(f"- {_marked(part.strip())}" for part in parts[1:])
    return "\n\n".join([*paragraph, items] if items else paragraph)


def _marked(text: str) -> str:
    """Return a text as Markdown in which an author's marks stand and nothing else is markup."""
    pieces = []
    for n, piece in enumerate(_MARKS.split(text)):
        mark = next((m for m in ("**", "*", "`") if piece.startswith(m)), "") if n % 2 else ""
        inner = piece[len(mark) : -len(mark)] if mark else piece
        pieces.append(f"`{inner}`" if mark == "`" else f"{mark}{markdown(inner)}{mark}")
    return "".join(pieces)


def _common(dossier: Dossier, title: str, face: Face) -> dict[str, Any]:
    return {
        "title": title,
        "face": face,
        "review": safe(dossier.review) if dossier.review else None,
        "project": safe(dossier.project),
        "note": flow(dossier.note) if dossier.note else None,
        "snapshot": words.snapshot(dossier),
        "judged": words.judged(dossier),
        "banners": words.banners(dossier),
        "caution": words.CAUTION,
        "codes": {code.value: text for code, text in words.CODES.items()},
        "assurance": {key.value: text for key, text in words.ASSURANCE.items()},
        "totals": words.totals(dossier),
        "early": sum(result.early for result in dossier.requirements),
        "early_means": words.EARLY_MEANS,
        "code_names": [code.value for code in Compliance],
        "scale": words.scale(dossier),
        "home": None,
        "pairs": pairs,
        "flow": flow,
        "anchor_id": anchor_id,
        "stamp": words.stamp(dossier),
        "roles": words.ROLES,
        "known": {safe(result.id) for result in dossier.requirements},
    }


@lru_cache(maxsize=1)
def _html() -> Environment:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("closeout.render"),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=StrictUndefined,
    )
    environment.filters["breakable"] = _breakable
    environment.filters["css"] = _css
    return environment


@lru_cache(maxsize=1)
def _markdown() -> Environment:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    # No autoescape, which is for HTML: finalize escapes every value that a template prints.
    environment = Environment(
        loader=PackageLoader("closeout.render"),
        finalize=markdown,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        undefined=StrictUndefined,
    )
    environment.globals |= {
        "link": link,
        "raw": Markup,
        "id_mark": id_mark,
        "annex": annex_mark,
        "table": table_mark,
        "figure_mark": figure_mark,
        "ref": reference,
        "text": Markup(TEXT),
        "words": Markup(WORDS),
        "kept": Markup(KEPT),
        "page": Markup(PAGE),
        "same": Markup(SAME),
    }
    environment.globals["formula_block"] = _formula_block
    environment.globals["picture_block"] = _picture_block
    return environment


def _breakable(text: str) -> str:
    """Return a text as HTML in which a long name may be broken behind an underscore."""
    from markupsafe import Markup as Html
    from markupsafe import escape

    return Html(str(escape(text)).replace("_", "_<wbr>"))


def _css(text: str) -> str:
    """Return a text as a string of CSS, which cannot end the style element either."""
    from markupsafe import Markup as Html

    return Html('"' + re.sub(r"[^\w .,:;()/-]", lambda m: f"\\{ord(m[0]):x} ", text) + '"')


def _trusted(html: str) -> str:
    """Mark HTML as such: it was made by the Markdown renderer, with HTML in the text disabled."""
    from markupsafe import Markup as Html

    return Html(html)


@lru_cache(maxsize=1)
def _parser() -> MarkdownIt:
    from markdown_it import MarkdownIt

    return MarkdownIt("commonmark", {"html": False}).enable("table")


def _let_formulas_through(tokens: list[Token]) -> None:
    """Make elements of our own formulas and pictures; no other block of a page has their mark."""
    for token in tokens:
        if token.type == "fence" and token.info in (_FORMULA, _PICTURE):
            token.type = "html_block"
