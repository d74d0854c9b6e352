"""Pages of the rules that hold a project against its earlier states in git.

An example is a state that was committed, and what became of it.
"""

from __future__ import annotations

from functools import partial

from closeout.model.problem import Severity
from closeout.rules.rule import Rule

_E1002 = "ECSS-E-ST-10-02C Rev.1"
_standard = partial(Rule, kind="standard", severity=Severity.WARNING)

_STATE = """\
documents:
  - {id: LSA, title: Launch service agreement, issue: 2, date: 2026-01-20}
requirements:
  - id: PWR-020
    issue: A
    title: Energy after the hold
    statement: The recorder shall hold at least 52 W h of usable energy.
    source: {document: LSA, clause: "4.3"}
    verification:
      - method: test
        records: [TR-001]
        quantity: usable_energy
        at_least: 52 W h
records:
  - id: TR-001
    method: test
    title: Bench soak of the battery
    date: 2026-02-03
    judged: {PWR-020: A}
    measured: {usable_energy: 51.0 W h +/- 0.4 W h (k = 2)}
"""
_RECORD = _STATE[_STATE.index("records:\n") :]
_PASSED = _STATE.replace("51.0 W h", "57.0 W h")
_REPORT = """\
nonconformances:
  - {id: NCR-001, requirements: [PWR-020], cause: a loose connector, disposition: rework}
"""
_FOUND = _REPORT.replace("{id: NCR-001,", "{id: NCR-001, found_by: TR-001,")
_WITHOUT_RECORD = _STATE.replace(_RECORD, "").replace("        records: [TR-001]\n", "")


def _became(after: str, before: str = _STATE) -> str:
    return f"# before\n{before}# after\n{after}"


_LOWERED = _STATE.replace("at_least: 52", "at_least: 50").replace("least 52", "least 50")

RULES = (
    _standard(
        name="issue-not-raised",
        title="a statement or criterion changed and its issue did not",
        clause=f"{_E1002}, 5.4.3: a changed requirement is verified again",
        why="Records speak of one issue. Under the same issue old evidence would count for a new"
        " requirement. Line breaks, the order of keys and an equal amount in another unit are no"
        " change. Every state along the first parents is looked at, so the finding stays until the"
        " issue is raised or its text is brought back; the first criterion of another quantity"
        " is told with that change alone.",
        breaks=_became(_LOWERED),
        keeps=_became(_PASSED.replace("at_least: 52 W h", "at_least: 187.2 kJ"), _PASSED),
    ),
    _standard(
        name="judged-before-change",
        title="a criterion changed after the day on which a record judged it",
        clause=f"{_E1002}, 5.4.3",
        why="A limit that is set when the result is known proves nothing. Days of commits are held"
        " against the dates of records. An old measurement may be judged anew, against a raised"
        " issue, and says when: judged: {PWR-020: {issue: B, date: 2026-05-01}}.",
        breaks=_became(_LOWERED),
        keeps=_became(_LOWERED.replace("issue: A", "issue: B") + _FOUND),
    ),
    _standard(
        name="failed-at-unknown-issue",
        title="a record fails, and says that it judged an issue that git does not hold",
        clause="common practice, no source",
        why="A failure is held against the issue that it judged. With an issue that never was, it"
        " would be held against nothing, and end with the next test.",
        breaks=_became(_STATE.replace("{PWR-020: A}", "{PWR-020: C}")),
        keeps=_became(_STATE + _FOUND),
    ),
    _standard(
        name="source-not-raised",
        title="an outside document's requirement changed here, and the document did not",
        clause="common practice, no source; after ECSS-E-ST-10-06C, 8.2, traceable both ways",
        why="Who wrote the requirement does not know of the change, and will ask for the old one."
        " The text that was first given under the present issue of the document holds; how it is"
        " verified here may be added.",
        breaks=_became(_LOWERED.replace("issue: A", "issue: B")),
        keeps=_became(
            _LOWERED.replace("issue: A", "issue: B").replace(
                "issue: 2, date: 2026-01-20", "issue: 3, date: 2026-04-02"
            )
            + _FOUND
        ),
    ),
    _standard(
        name="document-raised",
        title="an outside document has a new issue: these requirements cite it",
        clause="common practice, no source; after ECSS-E-ST-10-06C, 8.2, traceable both ways",
        why="Each requirement that cites the document is held against its new issue. The list is"
        " told with the change alone.",
        breaks=_became(_STATE.replace("issue: 2, date: 2026-01-20", "issue: 3, date: 2026-04-02")),
        keeps=_became(_PASSED.replace("Launch service agreement", "Agreement"), _PASSED),
    ),
    _standard(
        name="identifier-reused",
        title="an identifier stands for something else than it once did",
        clause="ISO/IEC/IEEE 29148:2011, 5.2.8: identifiers never change and are never reused",
        why="Old documents and records still speak of what it stood for.",
        breaks="# before\n" + _WITHOUT_RECORD
        + "# then\nrequirements: []\n# after\n"
        + _WITHOUT_RECORD.replace("hold at least 52 W h of usable energy", "carry a label"),
        keeps="# before\n" + _WITHOUT_RECORD
        + "# then\nrequirements: []\n# after\n" + _WITHOUT_RECORD,
    ),
    _standard(
        name="failed-record-deleted",
        title="a record that found something not met was deleted",
        clause=f"{_E1002}, 5.4.3; ECSS-Q-ST-10-09C (from memory): a nonconformance is closed, not"
        " forgotten",
        why="A failed test counts until another replaces it. The whole history is looked through,"
        " merged branches too.",
        breaks=_became(_WITHOUT_RECORD),
        keeps=_became(
            _WITHOUT_RECORD, _STATE.replace("51.0 W h", "57.1 W h")
        ),
    ),
    _standard(
        name="record-edited",
        title="a record was edited to have been made on another article, issue or condition",
        clause=f"{_E1002}, 5.4.3: what has changed is verified again",
        why="A record says how things were on its day. To write today's build into it makes no test"
        " of today's article. Its measurement may be judged anew against a raised issue, with the"
        " day of that: judged: {PWR-020: {issue: B, date: 2026-05-01}}.",
        breaks=f"# before\n{_PASSED}# after\n{_PASSED.replace('PWR-020: A', 'PWR-020: B')}",
        keeps=f"# before\n{_PASSED}# after\n"
        + _PASSED.replace("issue: A", "issue: B").replace(
            "PWR-020: A", "PWR-020: {issue: B, date: 2026-05-01}"
        ),
    ),
    _standard(
        name="nonconformance-deleted",
        title="a nonconformance was taken out of the project",
        clause=f"{_E1002}, Annex B: the control document refers to the report of each",
        why="It is closed by what was done about it, and stays as its record.",
        breaks=f"# before\n{_PASSED}{_REPORT}# after\n{_PASSED}",
        keeps=f"# before\n{_PASSED}{_REPORT}# after\n{_PASSED}{_REPORT}",
    ),
    _standard(
        name="nonconformance-edited",
        title="a nonconformance does not name a requirement any more that it named",
        clause=f"{_E1002}, Annex B: the control document refers to the report of each",
        why="A requirement that an open nonconformance names cannot be closed; so the name is no"
        " matter of taste. Every earlier state is looked through.",
        breaks=f"# before\n{_PASSED}{_REPORT}# after\n{_PASSED}"
        + _REPORT.replace("requirements: [PWR-020], ", ""),
        keeps=f"# before\n{_PASSED}{_REPORT}# after\n{_PASSED}"
        + _REPORT.replace("a loose connector", "a loose connector of the bench"),
    ),
    _standard(
        name="failed-record-edited",
        title="a record that found something not met was edited to say something else",
        clause=f"{_E1002}, 5.4.3; common practice, no source for records that stay as they are",
        why="A failed test is no slip of the pen. One that is, is told once in the policy, with the"
        " reason why it was one.",
        breaks=_became(_STATE.replace("51.0 W h", "57.1 W h")),
        keeps=_became(
            _STATE.replace("51.0 W h", "57.3 W h"), _STATE.replace("51.0 W h", "57.1 W h")
        ),
    ),
)  # fmt: skip
