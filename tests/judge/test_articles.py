"""Which model's record closes which stage: ECSS-E-ST-10-02C Rev.1, 5.2.4. All invented."""

from __future__ import annotations

import pytest

from closeout.model.dossier import State
from tests.graph.projects import build, requirement, requirements, result

MET, NOT_MET, WAITS = State.MET, State.NOT_MET, State.OPEN
LATER = ("acceptance", "pre-launch", "in-orbit", "post-landing")
DIFFERS = ", differs: [no coating]"
SAME = ", same_design: Boards and battery are to the flight drawings."
MODELS = ("development", "engineering", "qualification", "protoflight", "flight")


def verdict(
    stage: str, models: tuple[str, ...], more: str = "", measured: float = 4, method: str = "test"
) -> tuple[State, str]:
    verification = f"method: {method}, quantity: x, at_least: 3 W, records: [T-1]"
    verification += f", stage: {stage}" if stage else ""
    article = ", ".join(f"A-{n}: {model}-1" for n, model in enumerate(models))
    text = requirements(requirement("R-1", verification))
    text += (
        f"records: [{{id: T-1, method: {method}, date: 2026-01-01, judged: {{R-1: A}}, measured:"
        f" {{x: {measured} W +/- 0.1 W (k = 2)}}{more}, article: {{{article}}}}}]\n"
    )
    known = [
        f"  - {{id: A-{n}, title: One, model: {model}, build: {model}-1}}\n"
        for n, model in enumerate(models)
        if model != "unknown"
    ]
    text += "articles:\n" + "".join(known) if known else ""
    entry = result(build(text).judge(), "R-1").evidence[0]
    return entry.state, str(entry.message)


@pytest.mark.parametrize("stage", LATER)
@pytest.mark.parametrize("model", MODELS)
@pytest.mark.parametrize("more", ["", DIFFERS, SAME, SAME + DIFFERS])
def test_from_acceptance_on_only_what_flies_counts(stage: str, model: str, more: str) -> None:
    flies = model in ("flight", "protoflight")
    state, message = verdict(stage, (model,), more)
    assert state is (MET if flies else WAITS)
    if not flies:
        assert f"{model} model, and at {stage} only a flight or protoflight model" in message


@pytest.mark.parametrize("stage", LATER)
def test_each_article_that_is_named_flies(stage: str) -> None:
    assert verdict(stage, ("flight", "protoflight"))[0] is MET
    state, message = verdict(stage, ("flight", "engineering"))
    assert state is WAITS
    assert "T-1 was made on A-1 build engineering-1" in message
    state, message = verdict(stage, ("unknown",))
    assert state is WAITS
    assert "the model of A-0 is not given" in message


@pytest.mark.parametrize("stage", [*LATER, "qualification", ""])
def test_a_test_without_an_article_closes_nothing_from_acceptance_on(stage: str) -> None:
    state, message = verdict(stage, ())
    assert state is (WAITS if stage in LATER else MET)
    assert ("does not name its article" in message) is (stage in LATER)
    # What was looked at on paper has none.
    assert verdict(stage, (), method="inspection")[0] is MET


@pytest.mark.parametrize("stage", ["qualification", ""])
@pytest.mark.parametrize("model", MODELS)
@pytest.mark.parametrize(
    ("more", "left"),
    [("", "(same_design:) nor the differences (differs:)"), (DIFFERS, "(same_design:)"),
     (SAME, "the differences (differs:)"), (SAME + DIFFERS, None)],
)  # fmt: skip
def test_a_forerunner_qualifies_only_as_far_as_it_is_said_to_be_alike(
    stage: str, model: str, more: str, left: str | None
) -> None:
    state, message = verdict(stage, (model,), more)
    if model not in ("development", "engineering") or left is None:
        assert state is MET
    else:
        assert state is WAITS
        assert left in message


@pytest.mark.parametrize("stage", [*LATER, "qualification"])
@pytest.mark.parametrize("models", [(), ("engineering",), ("unknown",), ("flight",)])
def test_a_failure_counts_on_whatever_it_was_found(stage: str, models: tuple[str, ...]) -> None:
    assert verdict(stage, models, measured=1)[0] is NOT_MET
