"""The demonstration mission's requirements keep the rules of the trade.

The files are read here with the plainest YAML loader there is (every scalar is its text), so that
this does not rest on the tool's own reader.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml

ROOT = Path(__file__).parents[2]

# ECSS-E-ST-10-06C (6 March 2009), 8.3.3a: words that a requirement does not use.
FORBIDDEN = (
    "and/or",
    "etc.",
    "goal",
    "shall be included but not limited to",
    "relevant",
    "necessary",
    "appropriate",
    "as far as possible",
    "optimize",
    "minimize",
    "maximize",
    "typical",
    "rapid",
    "user-friendly",
    "easy",
    "sufficient",
    "enough",
    "suitable",
    "satisfactory",
    "adequate",
    "quick",
    "first rate",
    "best possible",
    "great",
    "small",
    "large",
    "state of the art",
)
# ISO/IEC/IEEE 29148:2011, 5.2.5: a complete set has none of these.
PLACEHOLDERS = ("TBD", "TBS", "TBR", "TBC")

# ECSS-E-ST-10-06C, clause 6.2.
TYPES = {
    "functional",
    "mission",
    "interface",
    "environmental",
    "operational",
    "human factor",
    "(integrated) logistics support",
    "physical",
    "product assurance (PA) induced",
    "configuration",
    "design",
    "verification",
}
# ECSS-E-ST-10-02C Rev.1, 4.2.2 to 4.2.4.
METHODS = {"test", "analysis", "review of design", "inspection"}
LEVELS = {"equipment", "subsystem", "element", "segment", "system"}
STAGES = {"qualification", "acceptance", "pre-launch", "in-orbit", "post-landing"}
AFTER_LAUNCH = {"in-orbit", "post-landing"}
# ECSS-M-ST-10C, 4.4.3, the six that this project holds.
REVIEWS = ["SRR", "PDR", "CDR", "QR", "AR", "FRR"]

LIMITS = ("at_least", "at_most", "equal_to", "within")


def read_files() -> dict[str, dict[str, Any]]:
    """Return the content of each YAML file under requirements/, by its path from the root."""
    paths = sorted((ROOT / "requirements").rglob("*.yaml"))
    return {
        path.relative_to(ROOT).as_posix(): yaml.load(path.read_text("utf-8"), yaml.BaseLoader)
        for path in paths
    }


FILES = read_files()


def entries(key: str) -> list[dict[str, Any]]:
    """Return what all files hold under a key, in the order of the files' paths."""
    return [entry for content in FILES.values() for entry in content.get(key, [])]


PROJECT = next(content["project"] for content in FILES.values() if "project" in content)
REQUIREMENTS = {entry["id"]: entry for entry in entries("requirements")}
RECORDS = {entry["id"]: entry for entry in entries("records")}
DOCUMENTS = {entry["id"] for entry in entries("documents")}
VERIFICATIONS = [
    pytest.param(requirement, verification, id=f"{requirement['id']}-{number}")
    for requirement in REQUIREMENTS.values()
    for number, verification in enumerate(requirement.get("verification", []))
]
each_requirement = pytest.mark.parametrize("requirement", REQUIREMENTS.values(), ids=REQUIREMENTS)
each_verification = pytest.mark.parametrize(("requirement", "verification"), VERIFICATIONS)


def forbidden_in(statement: str) -> list[str]:
    """Return the words of the two lists that stand in a statement as whole words."""
    text = " ".join(statement.split())
    words = [
        word
        for word in FORBIDDEN
        if re.search(rf"(?<!\w){re.escape(word)}(?!\w)", text, re.IGNORECASE)
    ]
    return words + [word for word in PLACEHOLDERS if re.search(rf"\b{word}\b", text)]


def amounts_of(verification: dict[str, Any]) -> list[str]:
    """Return the texts of the amounts in a criterion: its limits, and its conditions' numbers.

    A distance of zero (``within``) is left out: the statement gives the one value. So are the
    tolerances of a test, which are no part of the criterion.
    """
    texts = [verification[key] for key in LIMITS if isinstance(verification.get(key), str)]
    if texts and re.fullmatch(r"0(\.0*)?( .*)?", str(verification.get("within", ""))):
        texts.remove(verification["within"])
    for value in verification.get("given", {}).values():
        texts += value if isinstance(value, list) else [value]
    return texts


def says(statement: str, amount: str) -> bool:
    """Say whether a statement names an amount, as that number and unit and no part of a longer.

    A negative one may be said in words (``25 K below``), what is counted has its own name, and one
    of it may be said as ``one``.
    """
    text, wanted = (" ".join(part.split()) for part in (statement, amount))
    if wanted.endswith(" count"):
        wanted = wanted.removesuffix(" count")
    spoken = [re.escape(wanted)]
    if amount == "1 count":
        spoken.append("one")
    if wanted.startswith("-"):
        spoken.append(re.escape(wanted[1:]) + " below")
    return any(re.search(rf"(?<![\w.+-]){form}(?![\w/]|\.\d| h\b)", text) for form in spoken)


def order(review: str) -> int:
    return REVIEWS.index(review)


def evidence_methods(requirement: dict[str, Any]) -> set[str]:
    return {verification["method"] for verification in requirement.get("verification", [])}


# --- the checks themselves can fail -----------------------------------------------------------


@pytest.mark.parametrize(
    ("statement", "found"),
    [
        ("The box shall be small and/or light.", ["and/or", "small"]),
        ("The box shall hold bolts, nuts, etc. at 20 degC.", ["etc."]),
        ("The box shall weigh TBD kg.", ["TBD"]),
        ("The smallest quickly made box shall be 5 mm.", []),
    ],
)
def test_forbidden_words_are_found_as_whole_words(statement: str, found: list[str]) -> None:
    assert forbidden_in(statement) == found


@pytest.mark.parametrize(
    ("amount", "there"),
    [
        ("52 W h", True),
        ("2 W h", False),
        ("52 W", False),
        ("28 d", True),
        ("8 d", False),
        ("-5 K", True),
        ("-28 d", False),
        ("3 count", True),
        ("5 count", True),
        ("4 count", False),
        ("1 count", True),
        ("1", False),
    ],
)
def test_an_amount_is_found_whole(amount: str, there: bool) -> None:
    text = "hold 52\n  W h for 28 d, at 5 K below the standard, in 3 of 3 samples of one cell."
    assert says(text, amount) is there


# --- the whole set ------------------------------------------------------------------------------


def test_the_mission_is_said_to_be_invented() -> None:
    assert PROJECT["name"] == "Gannet"
    assert "invented" in PROJECT["note"]


def test_reviews_are_those_of_the_standard_in_order() -> None:
    assert PROJECT["reviews"] == REVIEWS
    assert PROJECT["next_review"] == "CDR"


def test_there_are_at_least_forty_requirements() -> None:
    assert len(REQUIREMENTS) >= 40


@pytest.mark.parametrize(
    "key", ["requirements", "records", "waivers", "documents", "articles", "nonconformances"]
)
def test_identifiers_are_unique(key: str) -> None:
    identifiers = [entry["id"] for entry in entries(key)]
    assert len(identifiers) == len(set(identifiers))


def test_derivation_has_no_circle() -> None:
    def ancestors(identifier: str, path: tuple[str, ...] = ()) -> None:
        assert identifier not in path, f"circle: {' <- '.join((*path, identifier))}"
        for parent in REQUIREMENTS[identifier].get("derived_from", []):
            ancestors(parent, (*path, identifier))

    for identifier in REQUIREMENTS:
        ancestors(identifier)


def test_each_record_is_used() -> None:
    used = {
        name
        for requirement in REQUIREMENTS.values()
        for verification in requirement.get("verification", [])
        for name in verification.get("records", [])
    }
    replaced = {record["replaces"] for record in RECORDS.values() if "replaces" in record}
    feeding = {text.rpartition(".")[0] for text in links()}
    assert set(RECORDS) <= used | replaced | feeding


def links() -> Iterator[str]:
    """Yield what the parameters are found by."""
    for path in sorted((ROOT / "analyses").glob("*.yaml")):
        for one in yaml.load(path.read_text("utf-8"), yaml.BaseLoader)["parameters"].values():
            found = one.get("from", [])
            yield from found if isinstance(found, list) else [found]


# --- each requirement ---------------------------------------------------------------------------


@each_requirement
def test_a_requirement_says_what_it_must(requirement: dict[str, Any]) -> None:
    for key in ("id", "title", "statement", "rationale", "owner", "type"):
        assert requirement.get(key, "").strip(), f"{key} is missing"
    assert re.fullmatch(r"[A-Z]{3}-\d{3}", requirement["id"])
    assert requirement["type"] in TYPES
    assert requirement.get("safety", "critical") in {"critical", "catastrophic"}
    assert requirement.get("source") or requirement.get("derived_from")


@each_requirement
def test_a_statement_has_one_shall(requirement: dict[str, Any]) -> None:
    assert len(re.findall(r"\bshall\b", requirement["statement"], re.IGNORECASE)) == 1
    assert requirement["statement"].rstrip().endswith(".")


@each_requirement
def test_a_statement_keeps_to_permitted_words(requirement: dict[str, Any]) -> None:
    assert forbidden_in(requirement["statement"]) == []


@each_requirement
def test_what_it_is_derived_from_exists(requirement: dict[str, Any]) -> None:
    assert set(requirement.get("derived_from", [])) <= set(REQUIREMENTS)
    source = requirement.get("source", {})
    if isinstance(source, dict) and "document" in source:
        assert source["document"] in DOCUMENTS


@each_requirement
def test_it_can_be_judged(requirement: dict[str, Any]) -> None:
    """Own verifications, or derived requirements, or an agreed NA."""
    children = [
        child
        for child in REQUIREMENTS.values()
        if requirement["id"] in child.get("derived_from", [])
    ]
    assert requirement.get("verification") or children or requirement.get("not_applicable")


@each_requirement
def test_it_is_not_due_later_than_what_stands_above_it(requirement: dict[str, Any]) -> None:
    """Lower-level close-out before higher-level close-out: ECSS-E-ST-10-02C Rev.1, 5.2.3."""
    for name in requirement.get("derived_from", []):
        above = [v["review"] for v in REQUIREMENTS[name].get("verification", [])]
        for verification in requirement.get("verification", []):
            assert not above or order(verification["review"]) <= max(map(order, above))


@each_requirement
def test_analysis_or_review_of_design_alone_has_a_risk_assessment(
    requirement: dict[str, Any],
) -> None:
    """ECSS-E-ST-10-02C Rev.1, 5.2.2.1d."""
    methods = evidence_methods(requirement)
    if methods and methods <= {"analysis", "review of design"}:
        assert any(v.get("risk") for v in requirement["verification"])


@each_requirement
def test_it_is_not_verified_after_launch_alone(requirement: dict[str, Any]) -> None:
    """ECSS-E-ST-10-02C Rev.1, 5.2.4.1."""
    stages = {verification["stage"] for verification in requirement.get("verification", [])}
    assert not stages or stages - AFTER_LAUNCH


def test_an_agreed_not_applicable_names_its_document() -> None:
    excluded = [r["not_applicable"] for r in REQUIREMENTS.values() if "not_applicable" in r]
    assert excluded
    for entry in excluded:
        assert entry["reason"].strip()
        assert entry["agreed_by"] in PROJECT["authorities"].values()
        assert entry["document"] in DOCUMENTS


# --- each verification --------------------------------------------------------------------------


@each_verification
def test_a_verification_is_spelled_as_the_standard_does(
    requirement: dict[str, Any], verification: dict[str, Any]
) -> None:
    assert verification["method"] in METHODS
    assert verification["level"] in LEVELS
    assert verification["stage"] in STAGES
    assert verification["review"] in REVIEWS
    assert verification.get("plan", "").startswith("VP ")


@each_verification
def test_analysis_and_review_of_design_serve_their_stages(
    requirement: dict[str, Any], verification: dict[str, Any]
) -> None:
    """ECSS-E-ST-10-02C Rev.1, 5.2.2.3f and 5.2.2.4c."""
    if verification["method"] in {"analysis", "review of design"}:
        assert verification["stage"] in {"qualification", "in-orbit"}


@each_verification
def test_numbers_of_a_criterion_stand_in_the_statement(
    requirement: dict[str, Any], verification: dict[str, Any]
) -> None:
    missing = [a for a in amounts_of(verification) if not says(requirement["statement"], a)]
    assert missing == []


@each_verification
def test_records_exist_and_speak_of_the_present_issue(
    requirement: dict[str, Any], verification: dict[str, Any]
) -> None:
    for name in verification.get("records", []):
        record = RECORDS[name]
        assert record["method"] == verification["method"]
        assert record["judged"][requirement["id"]] == requirement.get("issue", "A")


@each_verification
def test_what_is_due_at_the_next_review_has_its_evidence(
    requirement: dict[str, Any], verification: dict[str, Any]
) -> None:
    """An analysis that is written, or records that are dated and say met or what was measured."""
    if order(verification["review"]) > order(PROJECT["next_review"]):
        return
    if verification["method"] == "analysis":
        name = verification["analysis"].rsplit(".", 1)[-1]
        sources = [path.read_text("utf-8") for path in (ROOT / "analyses").rglob("*.py")]
        assert sum(len(re.findall(rf"^def {name}\(", text, re.MULTILINE)) for text in sources) == 1
        return
    records = [RECORDS[name] for name in verification.get("records", [])]
    assert records
    for record in records:
        assert re.fullmatch(r"20\d\d-\d\d-\d\d", record["date"])
        assert record.get("outcome") == "met" or verification["quantity"] in record["measured"]


@pytest.mark.parametrize("record", RECORDS.values(), ids=RECORDS)
def test_a_record_names_document_and_present_articles(record: dict[str, Any]) -> None:
    articles = {article["id"]: article["build"] for article in entries("articles")}
    assert record["document"].startswith("GAN-")
    assert set(record.get("judged", {})) <= set(REQUIREMENTS)
    replaced = {one["replaces"] for one in RECORDS.values() if "replaces" in one}
    if record["id"] not in replaced:  # a failed build stays in the record of its failure
        assert record.get("article", {}).items() <= articles.items()
    for text in record.get("measured", {}).values():
        assert re.search(r"\+/-.+\(k = \d", text), "an uncertainty needs its coverage factor"
