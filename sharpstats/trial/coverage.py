"""Whether there are readings of what the claims of a plan are about."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping

from sharpstats.errors import Problem
from sharpstats.trial.plan import Claim, Gap, Plan
from sharpstats.trial.spelling import quoted
from sharpstats.trial.toml import PLAN_FILE


def claims_without_readings(plan: Plan, present: Mapping[str, Collection[str]]) -> tuple[Problem, ...]:
    """Find the claims about a level that no reading has.

    Parameters
    ----------
    plan : Plan
    present : mapping of str to collection of str
        For each factor, the levels that occur among the readings; a factor that is left out
        has none.

    Returns
    -------
    tuple of Problem
        One for each level that a claim needs and the readings do not have, with the claim's
        line in the plan.

    Examples
    --------
    >>> from sharpstats.trial.plan import Keener
    >>> from sharpstats.units import Quantity
    >>> claim = Keener(id="a", says="A is keener", medium="A", than="B", by=Quantity(0, "%"), line=7)
    >>> plan = Plan(title="A or B?", factors={"medium": ("A", "B")}, claims=(claim,))
    >>> [problem] = claims_without_readings(plan, {"medium": {"A"}})
    >>> print(problem)
    trial.toml, line 7, than: Claim "a" is about `medium` "B", and no reading has it. The readings have: "A".
    """
    return tuple(
        _problem(claim, key, factor, level, present.get(factor, ()))
        for claim in plan.claims
        for key, factor, level in _needs(claim)
        if level not in present.get(factor, ())
    )


def _needs(claim: Claim) -> Iterator[tuple[str, str, str]]:
    """Give key, factor and level of whatever the claim is about."""
    for key in ("medium", "than"):
        level = getattr(claim, key, None)
        if level is not None:
            yield key, "medium", level
    for factor, level in claim.where.items():
        yield f"where.{factor}", factor, level
    if isinstance(claim, Gap):
        for level in claim.levels:
            yield "levels", claim.across, level


def _problem(claim: Claim, key: str, factor: str, level: str, there: Collection[str]) -> Problem:
    known = ", ".join(quoted(one) for one in sorted(there))
    return Problem(
        code="no-readings",
        says=f"Claim {quoted(claim.id)} is about `{factor}` {quoted(level)}, and no reading has it.",
        mend=f"The readings have: {known}." if known else f"The readings have no `{factor}` at all.",
        file=PLAN_FILE,
        line=claim.line,
        key=key,
        value=level,
    )
