"""What stood on the bench: of which build, and of a model that counts at the stage.

Stages and models: ECSS-E-ST-10-02C Rev.1, 5.2.4; re-verification after rework: 5.4.3.
"""

from __future__ import annotations

from collections.abc import Iterator

from closeout.graph import Index
from closeout.graph.models import ANALOGUES, FLOWN, QUALIFICATION, speaks_of_the_article
from closeout.model.records import Article, Method, Record, Verification, build_text


def other_builds(verification: Verification, record: Record, index: Index) -> Iterator[str]:
    """Yield where an article was rebuilt; only a qualification may be argued from the design."""
    builds = dict(record.article)
    for name in rebuilt_articles(verification, record, index):
        more = ""
        if record.same_design is not None:
            more = f"; the same design is no evidence at {verification.stage}"
        yield (
            f"re-opened: {record.id} was made on {name} {build_text(builds[name])}, {name} is at"
            f" {build_text(index.articles[name].build or '')}{more}"
        )


def rebuilt_articles(verification: Verification, record: Record, index: Index) -> Iterator[str]:
    """Yield the articles that a record was made on and that are of another build now."""
    if record.same_design is not None and verification.stage in (None, QUALIFICATION):
        return
    for name, build in record.article:
        article = index.articles.get(name)
        if article is not None and article.build is not None and article.build != build:
            yield name


def wrong_models(verification: Verification, record: Record, index: Index) -> Iterator[str]:
    """Yield why what a record was made on says nothing at the stage of a verification."""
    stage = verification.stage
    if record.method is Method.TEST and not record.article and speaks_of_the_article(stage):
        yield (
            f"{record.id} does not name its article, and at {stage} only a flight"
            " or protoflight model counts"
        )
    for name, build in record.article:
        yield from _model(verification, record, name, build, index.articles.get(name))


def _model(
    verification: Verification, record: Record, name: str, build: str, article: Article | None
) -> Iterator[str]:
    """Hold the model of an article to what may close the stage."""
    stage = verification.stage
    made = f"{record.id} was made on {name} {build_text(build)}"
    if speaks_of_the_article(stage):
        if article is None:
            yield f"{made}, and the model of {name} is not given"
        elif article.model not in FLOWN:
            yield (
                f"{made}, {_of(article)} model, and at {stage} only a flight or protoflight model"
                " counts"
            )
        return
    if article is None or article.model not in ANALOGUES:
        return
    left = [
        text
        for said, text in (
            (record.same_design, "what is of the flight design (same_design:)"),
            (record.differs, "the differences (differs:)"),
        )
        if not said
    ]
    if left:
        yield f"{made}, {_of(article)} model, without stating {' nor '.join(left)}"


def _of(article: Article) -> str:
    return f"{'an' if article.model[0] in 'aeiou' else 'a'} {article.model}"
