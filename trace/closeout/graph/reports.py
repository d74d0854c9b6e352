"""Nonconformances and the records behind them: what is missing in the data itself."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator

from closeout.graph.index import Index
from closeout.graph.new_findings import error, warning
from closeout.graph.report_text import report_text
from closeout.model.problem import Finding
from closeout.model.records import Method, Nonconformance, Record

NOT_MET = "not met"
AGAINST = ("use as is", "repair")
AGAIN = ("rework", "repair")


def reports(index: Index) -> Iterator[Finding]:
    """Yield failed records without a nonconformance, and nonconformances without what they need."""
    for number, record in enumerate(unreported(index)):
        if index.complete:
            yield error(
                "nonconformance-missing",
                record.where / "outcome",
                f"the outcome of {record.id} is not met, and it has no nonconformance",
                "add this to a file in requirements/, and complete it: "
                + report_text(record, _judged_by(record, index), index, number),
            )
    named = {name for _, _, one in index.project.verifications() for name in one.records}
    for record in index.records.values():
        if record.date is not None and record.id in named:
            yield from _of_nothing(record, index)
    for report in index.project.nonconformances:
        yield from _waiver(report, index)
        yield from _retest(report, index)


def unreported(index: Index) -> list[Record]:
    """Return the records of which the outcome is not met, and that no nonconformance reports."""
    found_by = {report.found_by for report in index.project.nonconformances}
    return [
        record
        for record in index.records.values()
        if record.outcome == NOT_MET and record.date is not None and record.id not in found_by
    ]


def _judged_by(record: Record, index: Index) -> list[str]:
    """Return the requirements that a record judged, else those that name it."""
    if record.judged:
        return [name for name, _ in record.judged if name in index.requirements]
    verifications = index.project.verifications()
    return list(dict.fromkeys(one.id for one, _, v in verifications if record.id in v.records))


def _of_nothing(record: Record, index: Index) -> Iterator[Finding]:
    """Yield where a record does not say of which issue or article it speaks."""
    if not record.judged:
        yield warning(
            "record-without-issue",
            record.where,
            f"{record.id} does not name the issue that it judged, so no later issue re-opens it",
            "add judged: with the requirement and its issue, as {PWR-020: B}",
        )
    if record.method is Method.TEST and not record.article and index.articles:
        yield warning(
            "record-without-article",
            record.where,
            f"{record.id} does not name its article, so no later build re-opens it",
            "add article: with the article and its build, as {BAT: FM-3}",
        )


def _waiver(report: Nonconformance, index: Index) -> Iterator[Finding]:
    if report.disposition not in AGAINST:
        return
    for number, name in enumerate(report.requirements):
        if name in index.requirements and not index.waivers.get(name):
            yield warning(
                "disposition-without-waiver",
                report.where / "requirements" / number,
                f"{report.id} has disposition {report.disposition} against {name}, which has no"
                " waiver",
                "request a waiver from the authority of the requirement, or choose another"
                " disposition",
            )


def _retest(report: Nonconformance, index: Index) -> Iterator[Finding]:
    closing = index.records.get(report.closed_by or "")
    tested = closing is not None and closing.method is Method.TEST
    if report.disposition in AGAIN and not report.retest and not tested:
        yield warning(
            "rework-without-retest",
            report.where / "disposition",
            f"{report.id} has disposition {report.disposition}, and names no retest",
            "add retest: with the records of the retest, or close it by a test",
        )


def data_files(index: Index, read: Callable[[str], bytes]) -> Iterator[tuple[Record, Finding]]:
    """Yield records whose data file is missing, has changed, or has no digest, with what to say.

    ``read`` returns the content of a file of the snapshot; OSError where there is none.
    """
    for record in index.records.values():
        if record.data is None:
            continue
        now, where = _digest(record.data, read), record.where / "data"
        if now is None:
            yield record, error(
                "record-data", where,
                f"{record.id} names the data file {record.data}, which is not there",
                "add the file in requirements/ or analyses/, or correct the path",
            )  # fmt: skip
        elif record.data_sha256 is None:
            yield record, warning(
                "data-without-digest", where,
                f"{record.id} has no digest of its data file",
                f"add data_sha256: {now}",
            )  # fmt: skip
        elif record.data_sha256 != now:
            yield record, error(
                "record-data", record.where / "data_sha256",
                f"{record.data} has changed since {record.id}: its digest is {now}",
                "restore the file, or write a new record for the new data",
            )  # fmt: skip


def _digest(path: str, read: Callable[[str], bytes]) -> str | None:
    try:
        return hashlib.sha256(read(path)).hexdigest()
    except (OSError, ValueError):
        return None
