"""The Static Analysis Results Interchange Format of OASIS, SARIF 2.1.0.

One run in one log. Every rule of the tool is described, also where nothing breaks it, with its page
as help; verdicts have rules of their own. Nothing in it depends on the clock.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping
from typing import Any
from urllib.parse import quote

from closeout import __version__
from closeout.exchange.told import (
    DUE_AND_OPEN,
    ERROR,
    NOT_EVALUATED,
    NOT_MET,
    WARNING,
    Ended,
    Place,
    Told,
    problems_told,
    verdicts_told,
)
from closeout.model.dossier import Dossier
from closeout.model.problem import Pointer
from closeout.render.page_of_rule import page_markdown, page_text
from closeout.rules.catalogue import RULES
from closeout.rules.rule import Rule

SCHEMA = (
    "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"
)
# The name of our fingerprint, with the version of how it is made (SARIF 2.1.0, 3.27.17).
FINGERPRINT = "closeout/v1"
_WIDTH = 100
_TOP = "SRCROOT"
_LINK = re.compile(r"\[(?=[^\[\]]*\]\()")
_VERDICTS = {
    NOT_MET: (
        ERROR,
        "A verification is not met",
        "The judged value is beyond its limit. As an error: it is due, and no waiver or deviation"
        " covers it. As a warning: it is due at a later review. As a note: it is covered.",
    ),
    DUE_AND_OPEN: (
        WARNING,
        "What is due is open",
        "The evidence that is due at this review is missing, or no longer speaks of the"
        " requirement, the build or the conditions of today.",
    ),
    NOT_EVALUATED: (
        ERROR,
        "A verification could not be evaluated",
        "The analysis failed, or its inputs cannot be used. That is neither met nor not met.",
    ),
}


def verify_sarif(dossier: Dossier, ended: Ended, places: Mapping[Pointer, Place]) -> str:
    """Return verdicts that need attention, and problems, as a SARIF log with a final newline."""
    told = [*verdicts_told(dossier, places), *problems_told(ended)]
    about = {"project": dossier.project, "review": dossier.review, "draft": dossier.draft,
             "settings": dict(dossier.settings)}  # fmt: skip
    return _log(ended, told, about, successful=dossier.readable)


def lint_sarif(ended: Ended) -> str:
    """Return problems as a SARIF log with a final newline."""
    return _log(ended, problems_told(ended), {}, successful=True)


def _log(ended: Ended, told: Iterable[Told], about: dict[str, Any], *, successful: bool) -> str:
    descriptors = [*map(_rule, RULES.values()), *(_verdict(name) for name in _VERDICTS)]
    numbers = {one["id"]: number for number, one in enumerate(descriptors)}
    state = ended.state
    run = {
        "tool": {
            "driver": {
                "name": "closeout",
                "version": __version__,
                "semanticVersion": __version__,
                "rules": descriptors,
            }
        },
        # What ends in a slash names a kind of run, here the command (SARIF 2.1.0, 3.17.3).
        "automationDetails": {"id": f"closeout/{ended.command}/"},
        "columnKind": "utf16CodeUnits",
        "originalUriBaseIds": {
            _TOP: {"description": {"text": "The top of the repository, or else of the project."}}
        },
        "invocations": [{"executionSuccessful": successful, "exitCode": ended.exit_status}],
        "results": [_result(one, numbers[one.rule], ended.folder) for one in told],
        "properties": {
            **about,
            "snapshot": state.kind,
            "commit": state.commit,
            "dirty": state.dirty,
            "date": state.date,
        },
    }
    log = {"$schema": SCHEMA, "version": "2.1.0", "runs": [run]}
    # ASCII only, so that no character of a project's text can act on a terminal.
    return json.dumps(log, indent=1, allow_nan=False) + "\n"


def _rule(rule: Rule) -> dict[str, Any]:
    title = rule.title[0].upper() + rule.title[1:]
    return {
        "id": rule.name,
        "shortDescription": {"text": title},
        "fullDescription": {"text": f"{title}. {rule.why}"},
        "help": {"text": page_text(rule, _WIDTH), "markdown": page_markdown(rule)},
        "defaultConfiguration": {"level": rule.severity.value},
        "properties": {"tags": [rule.kind]},
    }


def _verdict(name: str) -> dict[str, Any]:
    level, title, text = _VERDICTS[name]
    return {
        "id": name,
        "shortDescription": {"text": title},
        "fullDescription": {"text": f"{title}. {text}"},
        "help": {"text": f"{title}\n\n{text}\n", "markdown": f"# {name}\n\n{title}.\n\n{text}\n"},
        "defaultConfiguration": {"level": level},
        "properties": {"tags": ["verdict"]},
    }


def _result(told: Told, number: int, folder: str) -> dict[str, Any]:
    result: dict[str, Any] = {
        "ruleId": told.rule,
        "ruleIndex": number,
        "level": told.level,
        "message": {"text": _message(told.lines)},
        "locations": [] if told.place is None else [_location(told.place, folder)],
        "partialFingerprints": {FINGERPRINT: told.fingerprint},
    }
    if told.accepted:
        result["suppressions"] = [
            {"kind": "external", "status": "accepted", "justification": told.accepted}
        ]
    return result


def _message(lines: Iterable[str]) -> str:
    """Return a text as a message, in which braces and links would mean something (3.11.5, 6)."""
    text = "\n".join(lines).replace("{", "{{").replace("}", "}}")
    return _LINK.sub(r"\\[", text)


def _location(place: Place, folder: str) -> dict[str, Any]:
    uri = quote(f"{folder}{place.path}", safe="/", errors="surrogateescape")
    return {
        "physicalLocation": {
            "artifactLocation": {"uri": uri, "uriBaseId": _TOP},
            "region": {"startLine": place.line, "startColumn": place.column},
        }
    }
