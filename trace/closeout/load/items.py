"""Readers of the items of each section: from checked plain data to typed records."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from closeout.load.criteria import (
    Item,
    Reader,
    Steps,
    all_measured,
    amounts,
    as_run,
    basis,
    listed,
    optional,
)
from closeout.load.formats import amount
from closeout.load.scalars import number
from closeout.model.amount import read_number
from closeout.model.criterion import Limits
from closeout.model.problem import Pointer
from closeout.model.records import (
    SIMILARITY,
    Agreement,
    Allocation,
    Article,
    Charter,
    ConditionKind,
    Contingency,
    Correlation,
    Document,
    Explained,
    Link,
    LinkedParameter,
    MarginPolicy,
    Method,
    Nonconformance,
    NotApplicable,
    PackageIdentity,
    Parameter,
    Policy,
    Record,
    Requirement,
    RulePolicy,
    Source,
    Verification,
    Waiver,
)

_METHODS = {method.value: method for method in Method}
_CONDITIONS = {condition.value: condition for condition in ConditionKind}


def charter(item: Item, where: Pointer, _reader: Reader) -> Charter:
    """Return the project section as a charter."""
    return Charter(
        where=where,
        name=item["name"],
        reviews=_texts(item, "reviews"),
        next_review=item.get("next_review"),
        authorities=dict(item.get("authorities", {})),
        margins=tuple(_margin(margin) for margin in item.get("margins", ())),
        note=item.get("note"),
        policy=_policy(item.get("policy", {})),
        review_dates=dict(item.get("review_dates", {})),
        reports=dict(item.get("reports", {})),
        correlation=tuple(_correlation(one) for one in item.get("correlation", ())),
        package=_package(item["package"]) if "package" in item else None,
    )


def _package(item: Item) -> PackageIdentity:
    return PackageIdentity(
        number=item["number"],
        issue=item.get("issue"),
        date=item.get("date"),
        author=item.get("author"),
        approver=item.get("approver"),
    )


def _policy(item: Item) -> Policy:
    return Policy(
        acceptance=item.get("acceptance", "guarded"),
        open_terms_until=item.get("open_terms_until"),
        contingency=tuple(
            Contingency(
                _texts(one, "parameters"), amounts(one["by_maturity"]), one.get("direction", "up")
            )
            for one in item.get("contingency", ())
        ),
        rules=tuple(
            RulePolicy(name, one["severity"], one["reason"], _texts(one, "for"))
            for name, one in item.get("rules", {}).items()
        ),
        coverage_factor=read_number(item.get("coverage_factor", "2")),
        test_tolerances=amounts(item.get("test_tolerances", {})),
        evaluations=int(number(item["evaluations"])) if "evaluations" in item else None,
        test_time=float(number(item["test_time"])) if "test_time" in item else None,
    )


def _margin(item: Item) -> MarginPolicy:
    required = amounts(item["required"])
    return MarginPolicy(item["quantity"], item.get("of", "limit"), required, _true(item, "enforce"))


def _correlation(item: Item) -> Correlation:
    return Correlation(item["quantity"], amount(item["within"]), item.get("at"), item.get("source"))


def document(item: Item, where: Pointer, _reader: Reader) -> Document:
    """Return an item of documents."""
    return Document(where, item["id"], item["title"], item.get("issue"), item.get("date"))


def article(item: Item, where: Pointer, _reader: Reader) -> Article:
    """Return an item of articles."""
    return Article(
        where,
        item["id"],
        item["title"],
        item["model"],
        item.get("build"),
        item.get("date"),
        _formerly(item),
    )


def requirement(item: Item, where: Pointer, reader: Reader) -> Requirement:
    """Return an item of requirements with its verifications."""
    get = item.get
    return Requirement(
        where,
        item["id"],
        item["title"],
        item["statement"],
        get("issue", "A"),
        get("rationale"),
        _source(get("source")),
        _texts(item, "derived_from"),
        get("owner"),
        get("type"),
        get("safety"),
        tuple(
            [
                _verification(part, where, ("verification", number), reader)
                for number, part in enumerate(get("verification", ()))
            ]
        ),
        _not_applicable(get("not_applicable")),
        _allocation(get("allocates")),
        get("report"),
        _formerly(item),
    )


def _verification(item: Item, above: Pointer, steps: Steps, reader: Reader) -> Verification:
    get = item.get
    return Verification(
        Pointer(above.path, above.steps + steps),
        _METHODS[item["method"]],
        get("level"),
        get("stage"),
        get("review"),
        get("analysis"),
        reader.criterion(item, steps),
        basis(get("basis")),
        _texts(item, "records"),
        get("plan"),
        get("risk"),
        reader.leeway(item, steps),
    )


def _source(value: str | Item | None) -> Source | None:
    if value is None:
        return None
    if isinstance(value, str):
        return Source(None, None, value)
    return Source(value["document"], value.get("clause"), None, value.get("issue"))


def _not_applicable(item: Item | None) -> NotApplicable | None:
    if item is None:
        return None
    return NotApplicable(item["reason"], item.get("agreed_by"), item.get("document"))


def _allocation(item: Item | None) -> Allocation | None:
    if item is None:
        return None
    return Allocation(item["quantity"], item["rule"], item.get("shares"))


def record(item: Item, where: Pointer, _reader: Reader) -> Record:
    """Return an item of records."""
    similar = item["method"] == SIMILARITY
    judged: Mapping[str, str | Item] = item.get("judged", {})
    return Record(
        where=where,
        id=item["id"],
        method=Method.ANALYSIS if similar else _METHODS[item["method"]],
        title=item.get("title"),
        document=item.get("document"),
        date=item.get("date"),
        article=_pairs(item, "article"),
        conditions=as_run(item.get("conditions", {})),
        judged=tuple((name, _issue(said)) for name, said in judged.items()),
        judged_on=tuple(
            (name, said["date"]) for name, said in judged.items() if not isinstance(said, str)
        ),
        measured=all_measured(item.get("measured", {})),
        outcome=item.get("outcome"),
        data=item.get("data"),
        replaces=item.get("replaces"),
        same_design=item.get("same_design"),
        differs=listed(item.get("differs", ())),
        good_for=optional(item, "good_for"),
        data_sha256=item.get("data_sha256"),
        similarity=similar,
        formerly=_formerly(item),
        explained=_explained(item.get("explained")),
    )


def _explained(item: Item | None) -> Explained | None:
    return None if item is None else Explained(item["text"], item["document"], item["by"])


def _issue(said: str | Item) -> str:
    return said if isinstance(said, str) else str(said["issue"])


def nonconformance(item: Item, where: Pointer, _reader: Reader) -> Nonconformance:
    """Return an item of nonconformances."""
    return Nonconformance(
        where=where,
        id=item["id"],
        requirements=_texts(item, "requirements"),
        article=_pairs(item, "article"),
        found_by=item.get("found_by"),
        klass=item.get("class"),
        disposition=item.get("disposition"),
        cause=item.get("cause"),
        corrective_action=item.get("corrective_action"),
        closed_by=item.get("closed_by"),
        retest=_texts(item, "retest"),
        formerly=_formerly(item),
    )


def waiver(item: Item, where: Pointer, reader: Reader) -> Waiver:
    """Return an item of waivers: a waiver or a deviation."""
    accepts: Item = item.get("accepts", {})
    return Waiver(
        where=where,
        id=item["id"],
        kind=item["kind"],
        requirement=item["requirement"],
        quantity=accepts.get("quantity"),
        limits=reader.limits(accepts, ("accepts",)) if accepts else Limits(),
        cases=tuple(accepts["cases"]) if "cases" in accepts else None,
        approved_by=item.get("approved_by"),
        date=item.get("date"),
        document=item.get("document"),
        expires=item.get("expires"),
        reason=item.get("reason"),
        formerly=_formerly(item),
    )


def agreement(item: Item, where: Pointer, _reader: Reader) -> Agreement:
    """Return an item of agreements."""
    return Agreement(
        where=where,
        review=item["review"],
        date=item.get("date"),
        by=item.get("by"),
        document=item.get("document"),
        requirements=_texts(item, "requirements"),
    )


# Keys that only a parameter takes whose value the project states.
_OF_STATED = (
    "value", "estimate", "tolerance", "range", "sigma", "distribution", "group", "condition",
    "maturity",
)  # fmt: skip


def parameter(item: Item, where: Pointer, reader: Reader) -> Parameter | LinkedParameter:
    """Return an entry of parameters; its identifier is the last step of its place."""
    get, name = item.get, str(where.steps[-1])
    source, record = _source_of(item)
    if "from" in item:
        beside = tuple(key for key in _OF_STATED if key in item)
        link = _link(item, "from", where)
        return LinkedParameter(where, name, link, source, _formerly(item), beside)
    return Parameter(
        where,
        name,
        reader.value(item),
        reader.spread(item),
        _CONDITIONS.get(str(get("condition", "")).lower()),
        source,
        get("maturity"),
        get("distribution"),
        get("group"),
        _formerly(item),
        _link(item, "estimate", where) if "estimate" in item else None,
        record,
    )


def _link(item: Item, key: str, where: Pointer) -> Link:
    return Link(where / key, listed(item[key]), item.get("case"), "cases" in item)


def _source_of(item: Item) -> tuple[str | None, str | None]:
    """Return the source of a value as it reads, and the record that it names as one."""
    said = item.get("source")
    if isinstance(said, Mapping):
        return said["record"], said["record"]
    return said, None


def _formerly(item: Item) -> tuple[str, ...]:
    return listed(item["formerly"]) if "formerly" in item else ()


def _texts(item: Item, key: str) -> tuple[str, ...]:
    return tuple(item.get(key, ()))


def _pairs(item: Item, key: str) -> tuple[tuple[str, str], ...]:
    found: Mapping[str, str] = item.get(key, {})
    return tuple(found.items())


def _true(item: Item, key: str) -> bool:
    return str(item.get(key, "")).lower() == "true"


READERS: dict[str, Callable[[Item, Pointer, Reader], Any]] = {
    "project": charter,
    "documents": document,
    "articles": article,
    "requirements": requirement,
    "records": record,
    "nonconformances": nonconformance,
    "waivers": waiver,
    "agreements": agreement,
    "parameters": parameter,
}
