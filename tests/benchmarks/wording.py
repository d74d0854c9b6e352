"""Precision and recall of the rules of wording on the corpus of invented statements.

``python tests/benchmarks/wording.py`` prints a table for each rule and over all: how often a rule
is broken in the corpus, how often it is found where it is broken and where it is not, precision and
recall. A statement counts once for a rule. ``--misses`` lists what was found wrongly or not at all.
It measures; it asserts nothing.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from closeout.rules.catalogue import RULES
from tests.rules.corpus import Case, cases, findings_of


def counted(listed: list[Case]) -> dict[str, Counter[str]]:
    """Return for each rule: right, wrong (found, not broken), missed."""
    counts: dict[str, Counter[str]] = {
        rule.name: Counter() for rule in RULES.values() if rule.kind == "wording"
    }
    for case, findings in zip(listed, findings_of(listed), strict=True):
        found = {finding.rule for finding in findings}
        for rule, count in counts.items():
            count["right"] += rule in found and rule in case.breaks
            count["wrong"] += rule in found and rule not in case.breaks
            count["missed"] += rule not in found and rule in case.breaks
    return counts


def row(name: str, count: Counter[str]) -> str:
    """Return a row of the table; a ratio without a denominator is a dash."""
    right, wrong, missed = count["right"], count["wrong"], count["missed"]
    precision = f"{right / (right + wrong):.2f}" if right + wrong else "-"
    recall = f"{right / (right + missed):.2f}" if right + missed else "-"
    return f"| {name} | {right + missed} | {right} | {wrong} | {precision} | {recall} |"


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--misses", action="store_true")
    args = parser.parse_args()
    every = cases()
    for batch in sorted({case.batch for case in every}):
        listed = [case for case in every if case.batch == batch]
        clean = sum(not case.breaks for case in listed)
        counts = counted(listed)
        print(f"batch {batch}: {len(listed)} statements, {clean} of them without fault\n")
        print("| rule | broken | found | false | precision | recall |")
        print("| --- | --- | --- | --- | --- | --- |")
        for name, count in counts.items():
            print(row(name, count))
        print(row("all", sum(counts.values(), Counter())), "\n")
        if args.misses:
            for case, findings in zip(listed, findings_of(listed), strict=True):
                found = {finding.rule for finding in findings}
                if found != case.breaks:
                    print(f"{case.statement}\n  {sorted(found)} for {sorted(case.breaks)}")


if __name__ == "__main__":
    main()
