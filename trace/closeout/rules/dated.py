"""Rules over dates: of the commit, of what was found, of what a waiver is about."""

from __future__ import annotations

from collections.abc import Iterator

from closeout.graph import Index
from closeout.graph.models import FLOWN
from closeout.graph.new_findings import warning
from closeout.model.problem import Finding, Pointer
from closeout.model.records import Article
from closeout.rules.context import Context

WAIVER = "waiver"


def dated(index: Index, context: Context) -> Iterator[Finding]:
    """Yield dates that cannot be, or that make something else of what bears them."""
    yield from _commit(index, context)
    yield from _after_review(index, context)
    yield from _found_without_date(index)
    yield from _judged_before_made(index)
    yield from _before_any_article(index)


def _commit(index: Index, context: Context) -> Iterator[Finding]:
    """The day of the commit decides what is planned, so it has to be one that can be."""
    commit = context.commit
    if commit is None:
        return
    cure = "correct the clock, and make the commit again"
    where = index.project.charter.where
    if commit.late:
        text = f"the commit is dated {commit.day}, in the future"
        yield warning("commit-date", where, text, cure)
    if commit.parent is not None:
        text = f"the commit is dated {commit.day}, before its parent of {commit.parent}"
        yield warning("commit-date", where, text, cure)


def _after_review(index: Index, context: Context) -> Iterator[Finding]:
    """What is dated after a review was not there to be seen at it."""
    review_date = index.project.charter.review_dates.get(context.review or "")
    project = index.project
    rows: list[tuple[str, str | None, Pointer]] = [
        *((one.id, one.date or one.planned, one.where / "date") for one in project.records),
        *(
            (f"the judgement of {name} by {one.id}", day, one.where / "judged" / name)
            for one in project.records
            for name, day in one.judged_on
        ),
        *((one.id, one.date or one.planned, one.where / "date") for one in project.waivers),
        *(
            (f"the agreement of {one.review}", one.date or one.planned, one.where / "date")
            for one in project.agreements
        ),
    ]
    for name, day, where in rows:
        if (
            review_date is not None and day is not None and day > review_date
        ):  # both as year-month-day
            yield warning(
                "dated-after-review",
                where,
                f"{name} is dated {day}, after {context.review} on {review_date}",
                "correct the date, leave it out while it is planned, or move the review",
            )


def _found_without_date(index: Index) -> Iterator[Finding]:
    """What is planned has found nothing yet; a failure must not hide behind a missing date."""
    for record in index.records.values():
        if record.date is not None or not (record.measured or record.outcome):
            continue
        when = "it has no date"
        if record.planned is not None:
            when = f"it is dated {record.planned}, after the date of this state"
        yield warning(
            "result-without-date",
            record.where if record.planned is None else record.where / "date",
            f"{record.id} has a result, but {when}, so it does not count",
            "add the date of the test, or leave the result out while it is planned",
        )


def _judged_before_made(index: Index) -> Iterator[Finding]:
    """Nothing can be judged anew before it was measured."""
    for record in index.records.values():
        for name, day in record.judged_on:
            made = record.date or record.planned
            if made is not None and day < made:  # both as year-month-day
                yield warning(
                    "judged-before-made",
                    record.where / "judged" / name,
                    f"{record.id} is dated {made}, and judged {name} earlier, on {day}",
                    f"correct the date, or write {name} with its issue only where it was judged"
                    " once",
                )


def _before_any_article(index: Index) -> Iterator[Finding]:
    """What is accepted before the product is made is a deviation, by its definition."""
    articles = [one for one in index.articles.values() if one.model in FLOWN]
    if not index.articles:
        return
    since = min(filter(None, (_since(one, index) for one in articles)), default=None)
    known = f"the first exists since {since}" if since else "its date is not given"
    if not articles:
        known = "the project has none"
    for waiver in index.project.waivers:
        if waiver.kind != WAIVER or waiver.date is None:
            continue
        if since is None or waiver.date < since:
            yield warning(
                "waiver-before-article",
                waiver.where / "kind",
                f"{waiver.id} is dated {waiver.date}, before any flight article ({known}): it"
                " is a deviation",
                "write kind: deviation, or give the flight article its date:",
            )


def _since(article: Article, index: Index) -> str | None:
    """Return since when an article exists: its date, or that of the first record about it."""
    days = [
        record.date
        for record in index.records.values()
        if record.date is not None and article.id in dict(record.article)
    ]
    return min([*days, *filter(None, [article.date])], default=None)
