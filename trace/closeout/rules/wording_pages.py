"""The pages of the rules of wording. Their examples are invented."""

from __future__ import annotations

from closeout.model.problem import Severity
from closeout.rules.rule import Rule

_ISO = "ISO/IEC/IEEE 29148:2011, 5.2.7"
_OWN = "no clause; ISO/IEC/IEEE 29148:2011, 5.2.5 asks for requirements without contradiction"


_HOLD = """\
parameters:
  hold_duration: {value: 28 d, condition: true, tolerance: 1 d, source: invented}
"""


def _requirement(statement: str, more: str = "") -> str:
    return (
        "requirements:\n"
        "  - id: PWR-020\n"
        "    title: Energy after the hold\n"
        f"    statement: {statement}\n"
        "    source: invented\n"
        "    verification:\n"
        "      - method: test\n"
        "        stage: acceptance\n"
        + "".join(f"        {line}\n" for line in more.splitlines())
        + (_HOLD if "hold_duration" in more else "")
    )


def _rule(
    name: str, title: str, clause: str, why: str, examples: tuple[str, str], more: str = ""
) -> Rule:
    breaks, keeps = (_requirement(statement, more) for statement in examples)
    return Rule(name, "wording", Severity.WARNING, title, clause, why, breaks, keeps)


_ENERGY = "quantity: usable_energy\nat_least: 52 W h"

RULES: tuple[Rule, ...] = (
    _rule(
        "one-shall",
        "Exactly one 'shall' in a statement",
        "ECSS-E-ST-10-06C, 8.3.2 ('shall' for a requirement) and 8.2 (singular)",
        "Two requirements in one statement cannot be closed, waived or failed apart; a statement"
        " without 'shall' is a recommendation, a permission or a fact.",
        (
            "The recorder shall store the pictures and shall send one of each release.",
            "The recorder shall store the pictures of each release.",
        ),
    ),
    _rule(
        "barred-word",
        "A word that a requirement shall not use",
        "ECSS-E-ST-10-06C, 8.3.3a",
        "The standard's list: words that each reader measures with a rule of his own.",
        (
            "The recorder shall hold sufficient energy for its active phase.",
            "The recorder shall hold at least 52 W h of usable battery energy.",
        ),
    ),
    _rule(
        "superlative",
        "A superlative",
        f"{_ISO}, superlatives",
        "Nobody can show that nothing better exists.",
        (
            "The camera shall have the best resolution.",
            "The camera shall resolve 2 mm at a distance of 5 m.",
        ),
    ),
    _rule(
        "subjective-word",
        "Subjective language",
        f"{_ISO}, subjective language",
        "Two people who test it come to two verdicts.",
        (
            "The recorder shall have a robust housing.",
            "The recorder shall keep its function after a drop of 0.5 m on concrete.",
        ),
    ),
    _rule(
        "vague-pronoun",
        "A vague pronoun",
        f"{_ISO}, vague pronouns",
        "A pronoun may stand for each noun before it, and each reader picks one.",
        (
            "The recorder shall stop the camera when it is above 60 degC.",
            "The recorder shall stop the camera when the camera is above 60 degC.",
        ),
    ),
    _rule(
        "ambiguous-adverb",
        "An ambiguous adverb or adjective",
        f"{_ISO}, ambiguous adverbs and adjectives",
        "How much, how often and how soon are numbers.",
        (
            "The recorder shall promptly mute its transmitter after a fault.",
            "The recorder shall mute its transmitter within 10 ms after a fault.",
        ),
    ),
    _rule(
        "open-ended",
        "An open-ended term",
        f"{_ISO}, open-ended, non-verifiable terms",
        "A list that goes on has no end at which it is verified.",
        (
            "The recorder shall log voltages, such as the cell voltage.",
            "The recorder shall log the voltage of each cell and the voltage of the battery.",
        ),
    ),
    _rule(
        "comparative",
        "A comparison without a value",
        f"{_ISO}, comparative phrases",
        "What it is compared with changes, or nobody has measured it.",
        (
            "The camera shall give pictures of higher quality.",
            "The camera shall give pictures of at least 1920 columns.",
        ),
    ),
    _rule(
        "loophole",
        "A loophole",
        f"{_ISO}, loopholes",
        "Who decides whether it was possible or needed? The requirement is met by doing nothing.",
        (
            "The recorder shall send the pictures again, if possible.",
            "The recorder shall send each picture again 10 s after its first transmission.",
        ),
    ),
    _rule(
        "incomplete-reference",
        "An incomplete reference",
        f"{_ISO}, incomplete references",
        "A document without its issue asks for something else after its next issue; without the"
        " part that applies nobody knows what to verify.",
        (
            "Each material shall have an outgassing below 1.0 % according to ECSS-Q-ST-70-02.",
            "Each material shall have an outgassing below 1.0 % according to ECSS-Q-ST-70-02C.",
        ),
    ),
    _rule(
        "negative-statement",
        "A negative statement",
        f"{_ISO}, negative statements",
        "That something never happens can hardly be shown. A limit ('shall not exceed 5 A') is no"
        " negative statement.",
        (
            "The recorder shall not disturb the satellites.",
            "The recorder shall keep its field at a distance of 1 m at or below 40 dBuV/m.",
        ),
    ),
    _rule(
        "totality",
        "A term of totality",
        "ISO/IEC/IEEE 29148:2018, 5.2.7, terms that imply totality",
        "Nobody can test all of something, or for ever; 'each' names them one by one.",
        (
            "The recorder shall always keep its clock.",
            "The recorder shall keep its clock until 28 d after the end of the last charge.",
        ),
    ),
    _rule(
        "passive",
        "A passive without a subject",
        "ISO/IEC/IEEE 29148:2011, 5.2.4 (active voice)",
        "Nobody is told to do it, so nobody is asked for the evidence.",
        (
            "The arming plug shall be inserted before lift-off.",
            "The arming plug shall be inserted by the pad crew before lift-off.",
        ),
    ),
    _rule(
        "limit-differs",
        "Statement and criterion give different limits",
        _OWN,
        "Everything may be closed by the criterion, and the customer reads the statement.",
        (
            "The recorder shall hold at least 50 W h of usable battery energy.",
            "The recorder shall hold at least 187.2 kJ of usable battery energy.",
        ),
        _ENERGY,
    ),
    _rule(
        "limit-direction",
        "Statement and criterion limit different sides",
        _OWN,
        "A limit on the wrong side is met by what the statement forbids.",
        (
            "The recorder shall hold at most 52 W h of usable battery energy.",
            "The recorder shall hold not less than 52 W h of usable battery energy.",
        ),
        _ENERGY,
    ),
    _rule(
        "condition-differs",
        "Statement and criterion give different conditions",
        _OWN,
        "The evidence is about another duration, temperature or height than the statement.",
        (
            "The recorder shall hold at least 52 W h, thirty days after the last charge.",
            "The recorder shall hold at least 52 W h, four weeks after the last charge.",
        ),
        _ENERGY + "\ngiven: {hold_duration: 28 d}",
    ),
    _rule(
        "probability-differs",
        "Statement and basis give different probabilities",
        _OWN,
        "The verdict is reached with another probability or confidence than was asked for.",
        (
            "The recorder shall hold at least 52 W h with a probability of at least 0.999.",
            "The recorder shall hold at least 52 W h with a probability of at least 99 percent.",
        ),
        _ENERGY + "\nbasis: {probability: 0.99, confidence: 0.9}",
    ),
)
