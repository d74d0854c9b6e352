"""Pages of the rules over dates."""

from __future__ import annotations

from functools import partial

from closeout.model.problem import Severity
from closeout.rules.rule import Rule

_standard = partial(Rule, kind="standard", severity=Severity.WARNING)

_PROJECT = """\
project:
  name: Lantern
  reviews: [PDR, CDR, AR]
  next_review: CDR
  review_dates: {CDR: 2026-06-18}
"""
_TESTED = """\
requirements:
  - id: PWR-010
    title: Lamp time
    statement: The battery shall feed the lamp for at least 10 h.
    verification:
      - {method: test, stage: qualification, review: CDR, quantity: lamp_time, at_least: 10 h,
         records: [TR-001]}
records:
  - id: TR-001
    method: test
    date: 2026-03-02
    judged: {PWR-010: A}
    measured: {lamp_time: 12.5 h +/- 0.1 h (k = 2)}
"""
_WAIVED = """\
articles:
  - {id: LAN, title: Lantern, model: flight, build: FM-1, date: 2026-05-04}
requirements:
  - id: PWR-010
    title: Lamp time
    statement: The battery shall feed the lamp for at least 10 h.
    verification:
      - {method: test, stage: acceptance, review: AR, quantity: lamp_time, at_least: 10 h}
waivers:
  - {id: RFW-001, kind: waiver, requirement: PWR-010, accepts: {quantity: lamp_time, at_least: 9 h},
     approved_by: control board, date: 2026-05-18}
"""


def _committed(day: str) -> str:
    when = f"{day}T12:00:00+0000"
    return (
        "$ git init --quiet; git add --all; GIT_COMMITTER_DATE=2026-03-02T12:00:00+0000 git commit"
        " --quiet --no-verify --message first\n"
        f"$ GIT_COMMITTER_DATE={when} git commit --quiet --no-verify --allow-empty --message next\n"
    )


RULES = (
    _standard(
        name="commit-date",
        title="the commit is of a day before its parent's, or of one that has not come",
        clause="common practice, no source",
        why="The committer's day decides what is planned and what has been: a record, a waiver or"
        " an agreement that is dated after it is no evidence yet. A clock that is wrong moves all"
        " of them.",
        breaks=_committed("2026-02-01"),
        keeps=_committed("2026-03-03"),
    ),
    _standard(
        name="dated-after-review",
        title="a record, a waiver or an agreement is dated after the review that is judged",
        clause="common practice, no source",
        why="Nobody could see it at the review; the date is wrong, or the test is planned.",
        breaks=_PROJECT + _TESTED.replace("2026-03-02", "2026-07-01"),
        keeps=_PROJECT + _TESTED,
    ),
    _standard(
        name="result-without-date",
        title="a record says what was found, and is planned: undated, or of a day to come",
        clause="common practice, no source",
        why="What is planned is no evidence, and no failure either. A result without its day, or of"
        " a day after the state that is judged, would be neither seen nor counted.",
        breaks=_TESTED.replace("    date: 2026-03-02\n", ""),
        keeps=_TESTED,
    ),
    _standard(
        name="judged-before-made",
        title="a record judged a requirement anew on a day before it was made",
        clause="common practice, no source",
        why="The day of a judgement lets an old measurement speak of a later issue. One before the"
        " measurement is a slip, and would be held against the wrong state of the requirement.",
        breaks=_TESTED.replace("{PWR-010: A}", "{PWR-010: {issue: A, date: 2026-02-02}}"),
        keeps=_TESTED.replace("{PWR-010: A}", "{PWR-010: {issue: A, date: 2026-04-02}}"),
    ),
    _standard(
        name="waiver-before-article",
        title="a waiver is of a day before any flight article exists",
        clause="ECSS-S-ST-00-01C, the terms deviation and waiver: prior to production, and after",
        why="A waiver accepts what was made; what is accepted before that is a deviation, and lets"
        " the article be made so. An article exists from its date: on, or from the first record"
        " about it. A project without a list of articles is not asked.",
        breaks=_WAIVED.replace("2026-05-18", "2026-04-20"),
        keeps=_WAIVED,
    ),
)
