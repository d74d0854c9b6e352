"""What can be said only of what was judged: findings about evidence, waivers, agreements, failures.

Each module yields findings; nothing here decides a verdict.
"""

from collections.abc import Mapping

from closeout.graph import Index
from closeout.judge.findings.agreements import disagreements, outgrown_ranges
from closeout.judge.findings.compared import predictions
from closeout.judge.findings.evidence import (
    contradictions,
    failed_validations,
    not_tested,
    thin_margins,
    unproved_safety,
)
from closeout.judge.findings.failures import unreported_logs
from closeout.judge.findings.waivers import waived
from closeout.measure import Units
from closeout.model.dossier import Dossier
from closeout.model.problem import Finding

_NOTHING: Mapping[str, str] = {}


def findings_of(
    dossier: Dossier, index: Index, units: Units, moved: Mapping[str, str] = _NOTHING
) -> tuple[Finding, ...]:
    """Return what can be said only of what was judged: each once.

    ``moved`` says by parameter what moved an estimate out of its agreed range, where that is known.
    """
    found = (
        *contradictions(dossier, index, units),
        *unproved_safety(dossier, index),
        *not_tested(dossier, index, units),
        *thin_margins(dossier, index),
        *waived(dossier, index, units),
        *disagreements(dossier, index),
        *unreported_logs(dossier, index),
        *failed_validations(dossier),
        *predictions(dossier, index),
        *outgrown_ranges(dossier, index, moved),
    )
    return tuple(dict.fromkeys(found))
